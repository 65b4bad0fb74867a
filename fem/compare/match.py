"""Measurements matched with what the models say: looked up in the study, or solved where it lacks.

The setting of a measurement makes a case, and its key is looked up in the table of the study.
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
"""Beside a measured column: what the model says, model less bench, whether within the band."""

PLACE = "place"

type Curves = dict[tuple[str, str], Curve]
"""Curves by the key of the case and the model."""

Report = Callable[[str, int, int], None]
"""Is told the model, the settings solved and the settings to solve."""


def find_curves(
    bench: Bench, study_result: StudyResult, models: Sequence[str], report: Report | None = None
) -> Curves:
    """Return the curve of each setting of the bench by each model.

    What the study lacks is solved now, on the same mesh as the study, and nothing else.

    Raises
    ------
    KeyboardInterrupt
        If the user breaks off.
    """
    ends, table = study_result.terminations, study_result.table
    curves = {
        (str(key), str(model)): Curve.of(rows, ends.get((str(key), str(model)), REACHED))
        for (model, key), rows in table[table.model.isin(models)].groupby(["model", "case"])
    }
    for model in models:
        lacking = [case for key, case in bench.cases.items() if (key, model) not in curves]
        for number, case in enumerate(lacking):
            if report:
                report(model, number, len(lacking))
            (curves[case.key, model],) = solved([case], model, study_result.study.resolution)
        if report and lacking:
            report(model, len(lacking), len(lacking))
    wanted = ((key, model) for key in bench.cases for model in models)
    return {place: curves[place] for place in wanted}


def solved(cases: Sequence[Case], model: str, resolution: str) -> list[Curve]:
    """Solve cases by a model for their curves; whatever goes wrong ends a curve.

    Raises
    ------
    KeyboardInterrupt
        If the user breaks off.
    """
    import pandas

    curves = [done.curve for done in solve_task(Task(model, tuple(cases), resolution))]
    if any(curve.termination.interrupted for curve in curves):
        raise KeyboardInterrupt
    return [Curve.of(pandas.DataFrame(c.steps), c.termination, solved=True) for c in curves]


def read(bench: Bench, curves: Mapping[str, Curve], shift: float = 0.0) -> Array:
    """Return figures at the pressures of the bench, moved by `shift` (kPa), (rows, measures).

    They are NaN where a setting has no curve among those, by the keys of the cases, or its curve
    does not reach. Below rest the tube stays at rest.
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
    """Return a row to each measurement and model, in the order of the file.

    Beside the columns of the bench there are ``model``; ``place``, which is ``step``, ``between``
    or ``beyond``; and to each measured column ``.model``, ``.residual`` (model less bench) and,
    where its standard deviation is given, ``.within`` (whether the residual is within the 95 %
    band of the measurement). They are missing where the curve does not reach.
    """
    import pandas

    return pandas.concat([_matched(bench, curves, model) for model in models], ignore_index=True)


def _matched(bench: Bench, curves: Curves, model: str) -> pandas.DataFrame:
    rows = bench.table.copy()
    rows.insert(1, "model", model)
    said = read(bench, {key: curves[key, model] for key in bench.cases})
    rows[PLACE] = [
        curves[key, model].place(pressure)
        for key, pressure in zip(rows.case, rows[PRESSURE.column], strict=True)
    ]
    for number, measure in enumerate(bench.measures):
        residual = said[:, number] - rows[measure.column]
        rows[measure.column + MODEL] = said[:, number]
        rows[measure.column + RESIDUAL] = residual
        if measure.std in rows:
            within = residual.abs() <= BAND * rows[measure.std]
            rows[measure.column + WITHIN] = within.astype("boolean").mask(residual.isna())
    return rows


def unreached(rows: pandas.DataFrame, curves: Curves) -> Iterator[dict[str, Any]]:
    """Yield each measurement beyond the ends of its curve, as JSON data.

    These are its line, model and pressure, the range of the curve (kPa), and why the curve ends.
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
