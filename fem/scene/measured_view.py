"""Measurements of the cases that are shown, beside the models.

The slider of a page runs over the steps of the models. A measured path therefore has one row for
each step of a model, with values at the pressure of that step: the mean of the measurements at a
measured pressure, interpolated between two (see :mod:`fem.compare.curve`), none beyond the last.
There are none while the free end is moved, since the pressure is constant then.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.compare.curve import Curve
from fem.core.arrays import Array
from fem.core.errors import InputError
from fem.measurements.bench import Bench, read_bench
from fem.measurements.columns import PRESSURE
from fem.quantities import table
from fem.quantities.column import Measure, measures_of
from fem.scene.result_view import ResultView

if TYPE_CHECKING:
    import pandas

PLACE = (table.step.column, table.requested.column)
"""Columns that a measured row takes from the step of the model.

The column of limit points is not among them: a limit point of the model was not measured.
"""


def with_bench(views: Sequence[ResultView], file: str | Path) -> list[ResultView]:
    """Return views, each case followed by its measurements from a file.

    Parameters
    ----------
    views
        The views of the models.
    file
        The file of measurements; its settings are changes of the case that is shown.

    Raises
    ------
    InputError
        If it cannot be used, or has no measurement of a case that is shown.
    """
    models = {view.case.key: view for view in reversed(views)}
    benches = {key: read_bench(file, view.case) for key, view in models.items()}
    measured = {
        key: _measured(bench, models[key], str(file))
        for key, bench in benches.items()
        if key in bench.cases
    }
    if not measured:
        raise InputError(f"{file}: no measurement of the setting that is shown")
    return [*_after_their_cases(views, measured)]


def _after_their_cases(
    views: Sequence[ResultView], measured: dict[str, ResultView]
) -> Iterator[ResultView]:
    """Yield the views, with the measurements of a case after its last view."""
    last = {view.case.key: number for number, view in enumerate(views)}
    for number, view in enumerate(views):
        yield view
        key = view.case.key
        if number == last[key] and key in measured:
            yield measured[key]


def _measured(bench: Bench, model: ResultView, file: str) -> ResultView:
    """Return the measurements of the case of a view, with a row for each of its steps."""
    table = bench.table[bench.table.case == model.case.key]
    curve = Curve.of(_means(table, bench.measures))
    pressures = _rising([row[PRESSURE.column] for row in model.rows])
    columns = [name for m in bench.measures for name in (m.column, m.std)]
    values = {name: curve.at(pressures, name) for name in columns if name in curve.steps}
    rows = [
        {name: row[name] for name in PLACE if name in row}
        | {"model": "bench", PRESSURE.column: row[PRESSURE.column]}
        | dict.fromkeys((m.column for m in measures_of(section="motion")), math.nan)
        | {name: float(column[number]) for name, column in values.items()}
        for number, row in enumerate(model.rows)
    ]
    count = f"{len(table)} measurement{'s' if len(table) > 1 else ''} in {Path(file).name}"
    note = "; ".join([count, *bench.notes[:1]])
    return ResultView(model.name, model.case, "bench", rows, [], note)


def _means(table: pandas.DataFrame, measures: Sequence[Measure]) -> pandas.DataFrame:
    """Return measurements as steps of rising pressure, repeated ones as their mean.

    The standard deviation is the quadratic mean of those given, or else that of the repeats if
    there are some at each pressure.
    """
    by_pressure = table.groupby(PRESSURE.column)
    means = by_pressure[[measure.column for measure in measures]].mean()
    for measure in measures:
        if measure.std in table:
            means[measure.std] = by_pressure[measure.std].agg(_quadratic_mean)
        elif by_pressure.size().min() > 1:
            means[measure.std] = by_pressure[measure.column].std()
    return means.reset_index().assign(step=range(len(means)), requested=True)


def _quadratic_mean(values: pandas.Series[Any]) -> float:
    return float(np.sqrt((values**2).mean()))


def _rising(pressures: Sequence[float]) -> Array:
    """Return pressures, nan from the first that does not rise."""
    known = np.array(pressures, dtype=float)
    stalled = np.flatnonzero(np.diff(known) <= 0)
    if len(stalled):
        known[stalled[0] + 1 :] = np.nan
    return known
