"""What a bench measured of the cases that are shown, beside the models.

The slider of a page runs over the steps of the models. So a measured path has a row to each step of
a model, in which its figures are read at the pressure of that step: at a measured pressure the mean
of what was measured there, between two interpolated as :mod:`fem.compare.curve` does, beyond the
last measurement none. Nothing is read while the free end is moved, since the pressure stands still
then.
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
"""Columns that a measured row has from the step of the model beside it.

A limit point is none of them: it is the model's, and nobody measured that it is one.
"""


def with_bench(views: Sequence[ResultView], file: str | Path) -> list[ResultView]:
    """Return views with what a bench file has of their cases after them.

    Parameters
    ----------
    views
        What the models say.
    file
        The bench file; its settings are changes of the case that is shown.

    Raises
    ------
    InputError
        If it cannot be used, or has no measurement of any case that is shown.
    """
    beside = {view.case.key: view for view in reversed(views)}
    read = {key: read_bench(file, view.case) for key, view in beside.items()}
    measured = {
        key: _measured(bench, beside[key], str(file))
        for key, bench in read.items()
        if key in bench.cases
    }
    if not measured:
        raise InputError(f"{file}: no measurement is of the setting that is shown")
    return [*_after_their_cases(views, measured)]


def _after_their_cases(
    views: Sequence[ResultView], measured: dict[str, ResultView]
) -> Iterator[ResultView]:
    """Yield the views, and what is measured of a case after the last one of it."""
    last = {view.case.key: number for number, view in enumerate(views)}
    for number, view in enumerate(views):
        yield view
        key = view.case.key
        if number == last[key] and key in measured:
            yield measured[key]


def _measured(bench: Bench, beside: ResultView, file: str) -> ResultView:
    """Return what was measured of the case of an view, a row to each of its steps."""
    table = bench.table[bench.table.case == beside.case.key]
    curve = Curve.of(_means(table, bench.measures))
    pressures = _rising([row[PRESSURE.column] for row in beside.rows])
    columns = [name for m in bench.measures for name in (m.column, m.std)]
    figures = {name: curve.at(pressures, name) for name in columns if name in curve.steps}
    rows = [
        {name: row[name] for name in PLACE if name in row}
        | {"model": "bench", PRESSURE.column: row[PRESSURE.column]}
        | dict.fromkeys((m.column for m in measures_of(section="motion")), math.nan)
        | {name: float(values[number]) for name, values in figures.items()}
        for number, row in enumerate(beside.rows)
    ]
    count = f"{len(table)} measurement{'s' if len(table) > 1 else ''} in {Path(file).name}"
    note = "; ".join([count, *bench.notes[:1]])
    return ResultView(beside.name, beside.case, "bench", rows, [], note)


def _means(table: pandas.DataFrame, measures: Sequence[Measure]) -> pandas.DataFrame:
    """Return what was measured as steps of rising pressure: means of repeated measurements.

    Their standard deviation is the quadratic mean of those given, or else that of the repeats if
    there are some at every pressure.
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
    """Return pressures, nan from where they no longer rise."""
    known = np.array(pressures, dtype=float)
    stalled = np.flatnonzero(np.diff(known) <= 0)
    if len(stalled):
        known[stalled[0] + 1 :] = np.nan
    return known
