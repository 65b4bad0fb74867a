"""Measurements matched with what the models say: looked up in the study, or solved where it lacks.

The setting of a measurement makes a case, and its key is looked up in the table of the study.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.case.case import Case
from fem.compare.curve import Curve
from fem.continuation.termination import TerminationKind
from fem.core.cache import Chain
from fem.measurements.bench import Bench
from fem.measurements.columns import GAUGE
from fem.quantities.column import BAND
from fem.results.termination import REACHED, Termination
from fem.solving.single import solve
from fem.study.study_result import Outcome

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
    bench: Bench, outcome: Outcome, models: Sequence[str], report: Report | None = None
) -> Curves:
    """Return the curve of each setting of the bench by each model.

    What the study lacks is solved now, on the same mesh as the study, and nothing else.

    Raises
    ------
    KeyboardInterrupt
        If the user breaks off.
    """
    curves = _known(outcome, models)
    for model in models:
        lacking = [case for key, case in bench.cases.items() if (key, model) not in curves]
        chain = Chain()
        for number, case in enumerate(lacking):
            if report:
                report(model, number, len(lacking))
            curves[case.key, model] = solved(case, model, outcome.study.resolution, chain)
        if report and lacking:
            report(model, len(lacking), len(lacking))
    wanted = ((key, model) for key in bench.cases for model in models)
    return {place: curves[place] for place in wanted}


def _known(outcome: Outcome, models: Sequence[str]) -> Curves:
    """Return the curves that the study has."""
    ends, table = outcome.terminations, outcome.table
    return {
        (str(key), model): Curve.of(rows, ends.get((str(key), model), REACHED))
        for model in models
        for key, rows in table[table.model == model].groupby("case")
    }


def solved(case: Case, model: str, resolution: str, chain: Chain) -> Curve:
    """Solve a case by a model for its curve.

    Raises
    ------
    KeyboardInterrupt
        If the user breaks off.
    """
    import pandas

    try:
        (run,) = solve(case, model, resolution, chain=chain).runs
    except ArithmeticError as error:
        none = pandas.DataFrame(columns=["step", "demanded", GAUGE.column])
        return Curve(none, Termination.failed(TerminationKind.NO_REST, error), solved=True)
    if run.interrupted:
        raise KeyboardInterrupt
    return Curve.of(pandas.DataFrame(run.rows), run.termination, solved=True)


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
    places = np.full(len(rows), "beyond", dtype=object)
    said = {measure.column: np.full(len(rows), np.nan) for measure in bench.measures}
    for key in bench.cases:
        own, curve = (rows.case == key).to_numpy(), curves[key, model]
        pressures = rows[GAUGE.column].to_numpy()[own]
        places[own] = [curve.place(pressure) for pressure in pressures]
        for column, figures in said.items():
            figures[own] = curve.at(pressures, column)
    rows[PLACE] = places
    for measure in bench.measures:
        residual = said[measure.column] - rows[measure.column]
        rows[measure.column + MODEL] = said[measure.column]
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
            GAUGE.column: row[GAUGE.column],
            "curve_kPa": curve.range(),
            "termination": curve.termination.data(),
        }
