"""Results of both models of a study at the same points, and their differences.

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
"""State of a point: reached by both models, or one of them ended before."""

PRESSURE = quantities.pressure.column
SOLVER_COLUMNS = [quantities.model.column, quantities.step.column, quantities.requested.column]

FE, FAST = ".fe", ".fast"
"""Suffixes of the columns of the models."""

ROUND_OFF = 10 * TOLERANCE
"""Tolerance, relative to the greatest value plus one unit: Newton's method converges to a tenth of
it, so a quantity that is zero by symmetry is about 1e-8."""


def pairs(study_result: StudyResult) -> pandas.DataFrame:
    """Return the results of both models at the same points, from the first step after rest.

    Returns
    -------
    Columns ``case``, those of the fields that vary, ``ordinal`` (number of the requested step),
    ``pressure_kPa`` (of the FE model, or of the fast model if the FE model has ended), ``state``
    (one of :data:`STATES`), then each column of the step table twice, with the suffixes ``.fe`` and
    ``.fast``; NaN if that model has ended. There is no row if both have ended.

    Raises
    ------
    InputError
        If the study lacks a model, or neither model has a step after rest.
    """
    missing = [model for model in ("fast", "fe") if study_result.of(model).empty]
    if missing:
        raise InputError(
            f'study "{study_result.study.title}": it has no curve of the '
            f'{" and the ".join(missing)} model; run it with models = ["fast", "fe"]'
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
    """Return the requested steps of a model after rest, by case and step number."""
    rows = study_result.of(model).drop_duplicates(["case", "step"])
    rows = rows.drop(columns=[*SOLVER_COLUMNS, *study_result.varied])
    rows["ordinal"] = rows.groupby("case", sort=False).cumcount()
    return rows[rows["ordinal"] > 0].set_index(["case", "ordinal"])


def trust_map(study_result: StudyResult, tolerances: Sequence[Tolerance]) -> pandas.DataFrame:
    """Return the errors of the fast model at each setting and requested step after rest.

    Returns
    -------
    Columns ``case``, those of the fields that vary, ``ordinal``, ``pressure_kPa``, ``state`` as of
    :func:`pairs`; for each quantity its column with the suffixes ``.fe``, ``.fast``,
    ``.error`` (fast − FE) and ``.share`` (magnitude of the error divided by the tolerance);
    ``share``, the greatest of these; ``trusted``, whether both models reach the point and all
    errors are within their tolerances. Shares are NaN if a model has ended.

    Raises
    ------
    InputError
        If the study lacks a model.
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
    """Return the errors relative to the FE model before and after the correction.

    Parameters
    ----------
    points
        Columns ``<column>.fe``, ``.fast``, ``.corrected``, ``.std``.
    column
        The quantity.

    Returns
    -------
    ``rms_before``, ``rms_after`` and ``worst_before``, ``worst_after`` in the unit of the
    quantity, 0 if it is below round-off; ``in_band``, the share of the points within the predicted
    95 % band. In cross-validation (:func:`fem.trust.fit.cross_validated_fit`) each band is scaled
    by other curves than its own: the share is near 0.95 for many similar curves, and lower if few
    curves represent the others.
    """
    from sklearn.metrics import max_error, root_mean_squared_error

    fe, fast = points[column + FE], points[column + FAST]
    corrected = points[f"{column}.corrected"]
    least = round_off(fe)
    in_band = (fe - corrected).abs() <= BAND * points[f"{column}.std"] + least
    found = {
        "rms_before": float(root_mean_squared_error(fe, fast)),
        "rms_after": float(root_mean_squared_error(fe, corrected)),
        "worst_before": float(max_error(fe, fast)),
        "worst_after": float(max_error(fe, corrected)),
    }
    found = {name: error if error > least else 0.0 for name, error in found.items()}
    return found | {"in_band": float(in_band.mean())}


def round_off(values: Any) -> float:
    """Return the error below which two values of a quantity are equal.

    Parameters
    ----------
    values
        Values of the FE model, shape (points,); NaN if it has none.
    """
    greatest = np.nanmax(abs(np.asarray(values, float)), initial=0.0)
    return ROUND_OFF * (1 + float(greatest))
