"""Where the fast model is within the tolerance of the FE model, point by point."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fem.trust.pairs import BOTH, FAST, FE, PRESSURE, pairs
from fem.trust.tolerance import Tolerance

if TYPE_CHECKING:
    import pandas

    from fem.study.study_result import Outcome


def trust_map(outcome: Outcome, tolerances: Sequence[Tolerance]) -> pandas.DataFrame:
    """Return the fast model's errors at each setting and demanded step after rest.

    Returns
    -------
    Columns ``case``, those of the fields that vary, ``ordinal``, ``pressure_kPa``, ``state`` as of
    :func:`fem.trust.pairs.pairs`; for each quantity its column, ending in ``.fe``, ``.fast``,
    ``.error`` (fast less FE) and ``.share`` (magnitude of the error over the tolerance);
    ``share``, the greatest of these; ``trusted``, whether both models reach the point and no error
    is beyond its tolerance. Shares are NaN where a model has ended.

    Raises
    ------
    InputError
        If a model did not take part in the study.
    """
    found = pairs(outcome)
    keys = ["case", *outcome.varied, "ordinal", PRESSURE, "state"]
    table = found[keys].copy()
    shares = []
    for tolerance in tolerances:
        column = tolerance.quantity.column
        table[column + FE], table[column + FAST] = found[column + FE], found[column + FAST]
        table[f"{column}.error"] = found[column + FAST] - found[column + FE]
        shares.append(f"{column}.share")
        table[shares[-1]] = table[f"{column}.error"].abs() / tolerance.limit
    table["share"] = table[shares].max(axis="columns")
    table["trusted"] = (table["state"] == BOTH) & (table[shares] <= 1).all(axis="columns")
    return table
