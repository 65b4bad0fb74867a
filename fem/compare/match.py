"""Measurements matched with the values of the models, from the study or solved if missing there.

The setting of a measurement gives a case, whose key is looked up in the table of the study.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.case.case import Case
from fem.compare.curve import Curve
from fem.core.arrays import Array
from fem.measurements.bench import Bench
from fem.measurements.columns import PRESSURE
from fem.quantities.column import BAND
from fem.results.termination import REACHED
from fem.study.study_result import StudyResult
from fem.study.worker import Task, solve_task

if TYPE_CHECKING:
    import pandas

MODEL, RESIDUAL, WITHIN = ".model", ".residual", ".within"
"""Suffixes of a measured column: model value, model − measurement, whether within the band."""

PLACE = "place"

type Curves = dict[tuple[str, str], Curve]
"""Curves by the key of the case and the model."""

Report = Callable[[str, int, int], None]
"""Called with the model, the number of settings solved and the number to solve."""


def find_curves(
    bench: Bench, study_result: StudyResult, models: Sequence[str], report: Report | None = None
) -> Curves:
    """Return the curve of each measured setting and model.

    Only curves that the study does not have are solved, on the mesh of the study.

    Raises
    ------
    KeyboardInterrupt
        If the user interrupts.
    """
    ends, table = study_result.terminations, study_result.table
    curves = {
        (str(key), str(model)): Curve.of(rows, ends.get((str(key), str(model)), REACHED))
        for (model, key), rows in table[table.model.isin(models)].groupby(["model", "case"])
    }
    for model in models:
        missing = [case for key, case in bench.cases.items() if (key, model) not in curves]
        for number, case in enumerate(missing):
            if report:
                report(model, number, len(missing))
            (curves[case.key, model],) = solve_curves([case], model, study_result.study.resolution)
        if report and missing:
            report(model, len(missing), len(missing))
    keys = ((key, model) for key in bench.cases for model in models)
    return {key: curves[key] for key in keys}


def solve_curves(cases: Sequence[Case], model: str, resolution: str) -> list[Curve]:
    """Solve cases by a model and return their curves; an error ends a curve.

    Raises
    ------
    KeyboardInterrupt
        If the user interrupts.
    """
    import pandas

    curves = [solved.curve for solved in solve_task(Task(model, tuple(cases), resolution))]
    if any(curve.termination.interrupted for curve in curves):
        raise KeyboardInterrupt
    return [Curve.of(pandas.DataFrame(c.steps), c.termination, solved=True) for c in curves]


def values_at_measurements(bench: Bench, curves: Mapping[str, Curve], shift: float = 0.0) -> Array:
    """Return the values at the measured pressures plus `shift` (kPa), shape (rows, measures).

    They are NaN if a setting has no curve, by the key of its case, or its curve does not reach the
    pressure. Below the pressure of rest the values are those at rest.
    """
    found = np.full((len(bench.table), len(bench.measures)), np.nan)
    pressures = bench.table[PRESSURE.column].to_numpy()
    for key, curve in curves.items():
        own = (bench.table.case == key).to_numpy()
        at = np.maximum(pressures[own] + shift, np.minimum(pressures[own], 0.0))
        for number, measure in enumerate(bench.measures):
            found[own, number] = curve.at(at, measure.column)
    return found


def match(bench: Bench, curves: Curves, models: Sequence[str]) -> pandas.DataFrame:
    """Return a row for each measurement and model, in the order of the file.

    In addition to the measured columns there are ``model``; ``place``, which is ``step``,
    ``between`` or ``beyond``; and for each measured column ``.model``, ``.residual`` (model −
    measurement) and, if its standard deviation is given, ``.within`` (whether the residual is
    within the 95 % band of the measurement). They are missing beyond the ends of the curve.
    """
    import pandas

    return pandas.concat([_matched(bench, curves, model) for model in models], ignore_index=True)


def _matched(bench: Bench, curves: Curves, model: str) -> pandas.DataFrame:
    rows = bench.table.copy()
    rows.insert(1, "model", model)
    values = values_at_measurements(bench, {key: curves[key, model] for key in bench.cases})
    rows[PLACE] = [
        curves[key, model].place(pressure)
        for key, pressure in zip(rows.case, rows[PRESSURE.column], strict=True)
    ]
    for number, measure in enumerate(bench.measures):
        residual = values[:, number] - rows[measure.column]
        rows[measure.column + MODEL] = values[:, number]
        rows[measure.column + RESIDUAL] = residual
        if measure.std in rows:
            within = residual.abs() <= BAND * rows[measure.std]
            rows[measure.column + WITHIN] = within.astype("boolean").mask(residual.isna())
    return rows


def unreached(rows: pandas.DataFrame, curves: Curves) -> Iterator[dict[str, Any]]:
    """Yield each measurement beyond the ends of its curve, as JSON data.

    The data are line, model, pressure, range of the curve (kPa), and termination of the curve.
    """
    for row in rows[rows[PLACE] == "beyond"].to_dict("records"):
        curve = curves[row["case"], row["model"]]
        yield {
            "line": row["line"],
            "model": row["model"],
            PRESSURE.column: row[PRESSURE.column],
            "curve_kPa": curve.range(),
            "termination": curve.termination.data(),
        }
