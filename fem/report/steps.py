"""The step table: all steps that were asked for, the models side by side, a table to a subject."""

from __future__ import annotations

import math
from collections.abc import Sequence

from fem.case.case import Case
from fem.quantities.column import Measure, measures_of
from fem.quantities.quantity import NO_TRAIT
from fem.report.grid import Grid
from fem.results.result import Result
from fem.results.run import Run
from fem.wording.bounds import bounded_row, bounds_table
from fem.wording.run_sections import NAMES, besides, family_words
from fem.wording.tables import (
    besides_table,
    end_columns,
    motion_columns,
    step_tables,
    thread_columns,
)
from fem.wording.termination import path_note

UNBOUNDED = 10**6
"""Width of a table that is never broken into several (characters)."""


def step_grids(result: Result) -> list[Grid]:
    """Return the tables of all steps: motion and end loads, the body, each family of threads."""
    case = result.case
    columns = [*motion_columns(), *end_columns(case)]
    grids = [
        _grid("Motion of the free end, and bulge", result, columns),
        _grid("Tube: lengths, stretches, volume", result, measures_of(section="tube")),
    ]
    for family in case.threads:
        words, threads = family_words(family), thread_columns(family.name, NO_TRAIT)
        grids.append(_grid(f"Threads {family.name}: {', '.join(words)}", result, threads))
    return grids


def besides_grids(result: Result) -> list[Grid]:
    """Return what was found besides: limit points and what lies beyond, a table to a model."""
    return [
        Grid.from_terminal(
            f"{NAMES[run.model]}: {path_note(run)}",
            besides_table(run),
        )
        for run in result.runs
        if besides(run)
    ]


def bounds_grid(run: Run, case: Case) -> Grid | None:
    """Return how far the last step may be trusted, where a second solve tells that."""
    row = bounded_row(run)
    if row is None:
        return None
    last = "the last step" if row is run.requested[-1] else "the last step that all solves reach"
    caption = f"{NAMES[run.model]} at {row['pressure_kPa']:.4g} kPa, {last}"
    return Grid.from_terminal(caption, bounds_table(row, case), ("measure", "unit"))


def _grid(caption: str, result: Result, columns: Sequence[Measure]) -> Grid:
    """Return the table of those columns that are known at any step."""
    known = [
        column
        for column in columns
        if any(math.isfinite(row.get(column.column, math.nan)) for row in result.rows)
    ]
    (table,) = step_tables(result, known, UNBOUNDED, labels=True)
    return Grid.from_terminal(caption, table)
