"""Figures of agreement: bias, RMS error, greatest error, R2, share within the band.

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

MOST_GROUPS = 12
"""More different pressures than this are put into ranges."""

RANGES = 6


def summary(rows: pandas.DataFrame, bench: Bench) -> pandas.DataFrame:
    """Return a row of figures to each model, measured quantity and group.

    Groups are all measurements, then those of each pressure, then those of each value of a setting
    that is text, such as a slack rule. Columns: ``model``, ``measure``, ``unit``, ``group``
    (name of the column that is split by, or "all"), ``value``, and those of :func:`agreement`.
    Measurements that the model does not reach are counted in ``not_reached`` alone.
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
    """Yield the groups: what is split by, the value, the rows."""
    import pandas

    yield ALL, "", rows
    pressure = rows[PRESSURE.column]
    few = pressure.nunique() <= MOST_GROUPS
    for value, part in rows.groupby(
        pressure if few else pandas.cut(pressure, RANGES), observed=True
    ):
        ends = [value] if few else [value.left, value.right]
        yield PRESSURE.column, " to ".join(f"{end:.4g}" for end in ends), part
    for rule in bench.text_settings:
        for value, part in rows.groupby(rule, sort=False):
            yield rule, str(value), part


def agreement(rows: pandas.DataFrame, measure: Measure) -> dict[str, Any]:
    """Return how far a model agrees with what was measured, in the unit of the quantity.

    - ``points``: measurements that the model reaches; ``not_reached``: the others
    - ``bias``: mean of model less bench
    - ``rms_error``: root of the mean square of that
    - ``greatest_error``: the residual that is greatest in size; ``greatest_at``: its line
    - ``r2``: coefficient of determination; NaN for fewer than two different figures
    - ``within_95``: share within 1.96 standard deviations; NaN where none is given
    """
    from sklearn.metrics import r2_score, root_mean_squared_error

    residual = rows[measure.column + RESIDUAL]
    known = rows[residual.notna()]
    found: dict[str, Any] = {"points": len(known), "not_reached": len(rows) - len(known)}
    if known.empty:
        return found
    residual = known[measure.column + RESIDUAL]
    true, said = known[measure.column], known[measure.column + MODEL]
    greatest = int(residual.abs().to_numpy().argmax())
    within = measure.column + WITHIN
    return found | {
        "bias": float(residual.mean()),
        "rms_error": float(root_mean_squared_error(true, said)),
        "greatest_error": float(residual.iloc[greatest]),
        "greatest_at": int(known.line.iloc[greatest]),
        "r2": float(r2_score(true, said)) if true.nunique() > 1 else np.nan,
        "within_95": float(known[within].mean()) if within in known else np.nan,
    }
