"""Predict how a pneumatic actuator made of an elastomer tube and threads turns, moves and bulges.

>>> from fem import Case, solve
>>> result = solve(Case.load("cases/greenhouse_wrist.toml"))  # doctest: +SKIP
>>> result.steps  # doctest: +SKIP
"""

from fem.case import Case, CaseError
from fem.run import solve

__version__ = "0.1.0"

__all__ = ["Case", "CaseError", "solve"]
