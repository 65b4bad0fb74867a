"""Measures of agreement: bias, RMS error, greatest error, R2, share within the band.

See also eq. (67) of docs/theory.md.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.compare.match import MODEL, RESIDUAL, WITHIN
from fem.measurements.bench import Bench
from fem.measurements.columns import PRESSURE
from fem.quantities.column import Measure

if TYPE_CHECKING:
    import pandas

ALL = "all"

MAX_GROUPS = 12
"""Greatest number of pressures that are groups; more are divided into ranges."""

RANGES = 6


def summary(rows: pandas.DataFrame, bench: Bench) -> pandas.DataFrame:
    """Return the measures of agreement for each model, measured quantity and group, one per row.

    Groups are all measurements, then those at each pressure, then those with each value of a text
    setting, such as a slack rule. Columns: ``model``, ``measure``, ``unit``, ``group`` (name of the
    column that defines the group, or "all"), ``value``, and those of :func:`agreement`.
    Measurements that the model does not reach count only in ``not_reached``.
    """
    import pandas

    return pandas.DataFrame(
        [
            {
                "model": model,
                "measure": measure.name,
                "unit": measure.unit,
                "group": group,
                "value": value,
                **agreement(part, measure),
            }
            for model, own in rows.groupby("model", sort=False)
            for measure in bench.measures
            for group, value, part in _groups(own, bench)
        ]
    )


def _groups(rows: pandas.DataFrame, bench: Bench) -> Iterator[tuple[str, str, pandas.DataFrame]]:
    """Yield the groups: column, value, rows."""
    import pandas

    yield ALL, "", rows
    pressure = rows[PRESSURE.column]
    few = pressure.nunique() <= MAX_GROUPS
    for value, part in rows.groupby(
        pressure if few else pandas.cut(pressure, RANGES), observed=True
    ):
        ends = [value] if few else [value.left, value.right]
        yield PRESSURE.column, " to ".join(f"{end:.4g}" for end in ends), part
    for rule in bench.text_settings:
        for value, part in rows.groupby(rule, sort=False):
            yield rule, str(value), part


def agreement(rows: pandas.DataFrame, measure: Measure) -> dict[str, Any]:
    """Return the measures of agreement of a model, in the unit of the quantity.

    - ``points``: measurements that the model reaches; ``not_reached``: the others
    - ``bias``: mean of the residuals, model − measurement
    - ``rms_error``: root mean square of the residuals
    - ``greatest_error``: residual of the greatest magnitude; ``greatest_at``: its line
    - ``r2``: coefficient of determination; NaN for fewer than two different values
    - ``within_95``: share within 1.96 standard deviations; NaN if none is given
    """
    from sklearn.metrics import r2_score, root_mean_squared_error

    residual = rows[measure.column + RESIDUAL]
    known = rows[residual.notna()]
    found: dict[str, Any] = {"points": len(known), "not_reached": len(rows) - len(known)}
    if known.empty:
        return found
    residual = known[measure.column + RESIDUAL]
    measured, predicted = known[measure.column], known[measure.column + MODEL]
    greatest = int(residual.abs().to_numpy().argmax())
    within = measure.column + WITHIN
    return found | {
        "bias": float(residual.mean()),
        "rms_error": float(root_mean_squared_error(measured, predicted)),
        "greatest_error": float(residual.iloc[greatest]),
        "greatest_at": int(known.line.iloc[greatest]),
        "r2": float(r2_score(measured, predicted)) if measured.nunique() > 1 else np.nan,
        "within_95": float(known[within].mean()) if within in known else np.nan,
    }
