"""Both models of a study side by side, and what the fast model differs by: point by point.

A point is a setting and a requested step after rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.continuation.newton import TOLERANCE
from fem.core.errors import InputError
from fem.quantities import table as quantities
from fem.quantities.column import BAND
from fem.trust.tolerance import Tolerance

if TYPE_CHECKING:
    import pandas

    from fem.study.study_result import StudyResult

BOTH = "both"
FE_ENDED = "FE model ended"
FAST_ENDED = "fast model ended"
STATES = (BOTH, FE_ENDED, FAST_ENDED)
"""What there is at a point: both models, or one that the other did not reach."""

PRESSURE = quantities.pressure.column
BESIDES = [quantities.model.column, quantities.step.column, quantities.requested.column]

FE, FAST = ".fe", ".fast"
"""Endings of the columns of either model."""

ROUND_OFF = 10 * TOLERANCE
"""A share of a quantity, or of one in its unit if it is less: Newton's method ends within a tenth
of it, so a quantity that is nil by symmetry comes out as some 1e-8."""


def pairs(study_result: StudyResult) -> pandas.DataFrame:
    """Return both models of a study side by side, from the first step after rest on.

    Returns
    -------
    Columns ``case``, those of the fields that vary, ``ordinal`` (number of the requested step),
    ``pressure_kPa`` (of the FE model, or of the fast one where the FE model has ended), ``state``
    (one of :data:`STATES`), then each column of the step table twice, ending in ``.fe`` and
    ``.fast``, NaN where that model has ended. Where both have ended there is no row.

    Raises
    ------
    InputError
        If a model did not take part, or neither has a step after rest.
    """
    lacking = [model for model in ("fast", "fe") if study_result.of(model).empty]
    if lacking:
        raise InputError(
            f'study "{study_result.study.title}": it has no curve of the '
            f'{" and the ".join(lacking)} model; run it with models = ["fast", "fe"]'
        )
    varied = study_result.table.groupby("case", sort=False)[study_result.varied].first()
    fe, fast = (_steps(study_result, model) for model in ("fe", "fast"))
    table = fe.merge(fast, "outer", left_index=True, right_index=True, suffixes=(FE, FAST))
    if table.empty:
        raise InputError(
            f'study "{study_result.study.title}": neither model reaches a step after rest, '
            "so there is nothing to compare"
        )
    reached = table[[f"{PRESSURE}{FE}", f"{PRESSURE}{FAST}"]].notna().to_numpy()
    state = np.select([reached.all(axis=1), reached[:, 1]], [BOTH, FE_ENDED], FAST_ENDED)
    pressure = table[f"{PRESSURE}{FE}"].fillna(table[f"{PRESSURE}{FAST}"])
    table[PRESSURE], table["state"] = pressure, state
    table = table.sort_index(level="ordinal", kind="stable").reset_index()
    table = varied.reset_index().merge(table, on="case")  # in the order of the study
    first = ["case", *study_result.varied, "ordinal", PRESSURE, "state"]
    return table[[*first, *table.columns.difference(first, sort=False)]]


def _steps(study_result: StudyResult, model: str) -> pandas.DataFrame:
    """Return the requested steps of a model after rest, by case and number."""
    rows = study_result.of(model).drop_duplicates(["case", "step"])
    rows = rows.drop(columns=[*BESIDES, *study_result.varied])
    rows["ordinal"] = rows.groupby("case", sort=False).cumcount()
    return rows[rows["ordinal"] > 0].set_index(["case", "ordinal"])


def trust_map(study_result: StudyResult, tolerances: Sequence[Tolerance]) -> pandas.DataFrame:
    """Return the fast model's errors at each setting and requested step after rest.

    Returns
    -------
    Columns ``case``, those of the fields that vary, ``ordinal``, ``pressure_kPa``, ``state`` as of
    :func:`pairs`; for each quantity its column, ending in ``.fe``, ``.fast``,
    ``.error`` (fast less FE) and ``.share`` (magnitude of the error over the tolerance);
    ``share``, the greatest of these; ``trusted``, whether both models reach the point and no error
    is beyond its tolerance. Shares are NaN where a model has ended.

    Raises
    ------
    InputError
        If a model did not take part in the study.
    """
    found = pairs(study_result)
    keys = ["case", *study_result.varied, "ordinal", PRESSURE, "state"]
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


def errors(points: pandas.DataFrame, column: str) -> dict[str, float]:
    """Return the errors against the FE model before and after the correction.

    Parameters
    ----------
    points
        Columns ``<column>.fe``, ``.fast``, ``.corrected``, ``.std``.
    column
        The quantity.

    Returns
    -------
    ``rms_before``, ``rms_after`` and ``worst_before``, ``worst_after`` in the unit of the
    quantity, 0 where it is below round-off; ``in_band``, the share of the points within the
    predicted 95 % band. Of points that the fit left out (:func:`fem.trust.fit.find`) each band is
    scaled by other curves than its own; where curves are many and alike that is near 0.95 as it
    should be, and lower where few of them tell how far the others are off.
    """
    from sklearn.metrics import max_error, root_mean_squared_error

    fe, fast = points[column + FE], points[column + FAST]
    corrected = points[f"{column}.corrected"]
    least = round_off(fe)
    held = (fe - corrected).abs() <= BAND * points[f"{column}.std"] + least
    found = {
        "rms_before": float(root_mean_squared_error(fe, fast)),
        "rms_after": float(root_mean_squared_error(fe, corrected)),
        "worst_before": float(max_error(fe, fast)),
        "worst_after": float(max_error(fe, corrected)),
    }
    shown = {name: error if error > least else 0.0 for name, error in found.items()}
    return shown | {"in_band": float(held.mean())}


def round_off(values: Any) -> float:
    """Return the error below which two models say the same of a quantity.

    Parameters
    ----------
    values
        The quantity as the FE model finds it, shape (points,), NaN where it finds none.
    """
    greatest = np.nanmax(abs(np.asarray(values, float)), initial=0.0)
    return ROUND_OFF * (1 + float(greatest))
