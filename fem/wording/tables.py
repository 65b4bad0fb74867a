"""Tables of steps with the models side by side, and their columns."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest
from math import isfinite, nan
from typing import Any

from fem.case.case import Case
from fem.quantities import table
from fem.quantities.column import Measure, measures_of
from fem.quantities.quantity import NO_TRAIT, Trait
from fem.results.result import Result
from fem.wording.run_sections import (
    NAMES,
    Rows,
    drive_columns,
    extra_rows,
    family_words,
    with_added,
)
from fem.wording.termination import path_note
from fem.wording.text_table import TextTable

PRESSURE = Measure(table.pressure)


def motion_columns() -> list[Measure]:
    """Return the columns of the motion of the free end, and the bulge."""
    return measures_of(section="motion")


def end_columns(case: Case) -> list[Measure]:
    """Return the columns of force and torque where the free end is fixed, sprung or moved."""
    end, moved = case.end, case.move.direction if case.move else ""
    columns = []
    if end.axial == "held" or end.axial_spring or moved == "axial":
        columns.append(Measure(table.end_force))
    if end.twist == "held" or end.twist_spring or moved == "twist":
        columns.append(Measure(table.end_torque))
    return columns


def brief_columns(case: Case) -> list[Measure]:
    """Return the most important columns of a step, without the taut fraction: it jumps."""
    names = [family.name for family in case.threads]
    threads = measures_of(names, section="threads", traits=Trait.BRIEF)
    columns = [*motion_columns(), *end_columns(case), *threads]
    return [column for column in columns if column.quantity is not table.taut_fraction]


def readout_columns(cases: Sequence[Case]) -> list[Measure]:
    """Return the columns shown on page and stills: drive, motion, end loads, then families."""
    families = dict.fromkeys(family.name for case in cases for family in case.threads)
    drives = [column for case in cases for column in drive_columns(case)]
    loads = [column for case in cases for column in end_columns(case)]
    known = measures_of(families, traits=Trait.READOUT)
    tube = [measure for measure in known if not measure.family]
    threads = [measure for measure in known if measure.family]
    return [*dict.fromkeys([*drives, *tube, *loads, *threads])]


def step_tables(result: Result, *, brief: bool) -> list[TextTable]:
    """Return tables with a row for each requested step, the models side by side.

    There is one for the motion of the free end and its loads, one for the tube, and one for each
    family of threads, with the columns that have a value at any step. If brief, that of the tube is
    left out, threads have only their brief columns, and titles are short labels.
    """
    case, traits = result.case, Trait.BRIEF if brief else NO_TRAIT
    columns = {"Motion of the free end, and bulge": [*motion_columns(), *end_columns(case)]}
    if not brief:
        columns["Tube: lengths, stretches, volume"] = measures_of(section="tube")
    for family in case.threads:
        caption = f"Threads {family.name}: {', '.join(family_words(family))}"
        columns[caption] = measures_of([family.name], section="threads", traits=traits)
    return [_step_table(result, caption, own, brief) for caption, own in columns.items()]


def _step_table(result: Result, caption: str, columns: Sequence[Measure], brief: bool) -> TextTable:
    steps = list(zip_longest(*(run.requested for run in result.runs)))
    columns = [
        one for one in columns if any(isfinite(row.get(one.column, nan)) for row in result.rows)
    ]
    if result.case.pressure is None:  # it differs between the models
        columns = [PRESSURE, *columns]
    titles, cells = _requested(result.case, steps)
    keys = len(titles)
    for column in columns:
        words = column.quantity.short if brief else column.quantity.label
        for number, run in enumerate(result.runs):
            unit = ", ".join(filter(None, [NAMES[run.model], column.shown_unit]))
            titles.append(f"{words}\n{unit}")
            cells.append([column.show(step[number]) for step in steps])
    return TextTable(
        caption, titles, [*zip(*cells, strict=True)], text_columns=(), head_columns=keys
    )


def _requested(
    case: Case, steps: Sequence[Sequence[dict[str, Any] | None]]
) -> tuple[list[str], list[list[str]]]:
    """Return titles and cells of the values that were requested at each step."""
    rows: Rows = [next(row for row in step if row) for step in steps]
    (column,) = drive_columns(case) or [PRESSURE]
    titles = [_title(column)]
    cells = [[column.show(row, ".4g") for row in with_added(case, rows)]]
    if case.move:
        quantity = table.displacement if case.move.direction == "axial" else table.twist
        driven, column = case.drive.steps, Measure(quantity)
        titles.append(f"end moved to\n{column.unit}")
        cells.append(["" if i <= driven else column.show(row, ".4g") for i, row in enumerate(rows)])
    return titles, cells


def extra_state_tables(result: Result) -> list[TextTable]:
    """Return a table for each run that has limit points or other states not requested."""
    columns = [PRESSURE, *motion_columns(), *measures_of(section="tube", traits=Trait.BRIEF)]
    titles = ["state", *map(_title, columns), "stable"]
    tables = []
    for run in result.runs:
        cells = [
            [
                "limit" if row["limit"] else "beyond" if run.beyond(row) else "last",
                *(column.show(row) for column in columns),
                "-" if row["limit"] else "yes" if row["stable"] else "no",
            ]
            for row in extra_rows(run)
        ]
        if cells:
            caption = f"{NAMES[run.model]}: {path_note(run)}"
            tables.append(TextTable(caption, titles, cells, text_columns=()))
    return tables


def _title(column: Measure) -> str:
    return f"{column.title}\n{column.shown_unit}"
