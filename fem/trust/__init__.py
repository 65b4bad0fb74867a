"""Accuracy of the fast model compared with the FE model, and a corrected fast model.

>>> from fem.trust import CorrectedModel, parse, rules, trust_map  # doctest: +SKIP
"""

from fem.trust.analysis import Trust
from fem.trust.corrected import CorrectedModel
from fem.trust.pairs import trust_map
from fem.trust.rules import Rule, rule_table, rules
from fem.trust.tolerance import Tolerance, parse

__all__ = [
    "CorrectedModel",
    "Rule",
    "Tolerance",
    "Trust",
    "parse",
    "rule_table",
    "rules",
    "trust_map",
]
