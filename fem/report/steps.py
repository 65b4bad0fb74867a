"""The step table: all steps that were asked for, the models side by side, a table to a subject."""

from __future__ import annotations

import math
from collections.abc import Sequence

from fem.case.case import Case
from fem.report.grid import Grid
from fem.results.result import Result
from fem.results.run import Run
from fem.wording.bounds import bounded_row, bounds_table
from fem.wording.run_sections import NAMES, besides, demanded, family_words
from fem.wording.tables import (
    MOTION,
    STRETCHES,
    Column,
    besides_table,
    end_columns,
    step_tables,
    thread_columns,
)

UNBOUNDED = 10**6
"""Width of a table that is never broken into several (characters)."""

BODY = [
    Column("stretch", "length over length at rest", "", ".4f"),
    Column("mid_radius_mm", "outer radius at half length", "mm", ".3f"),
    *STRETCHES,
    Column("volume_mm3", "volume of the bore", "mL", ".4f", 1e-3),
]


def step_grids(result: Result) -> list[Grid]:
    """Return the tables of all steps: motion and end loads, the body, each family of threads."""
    case = result.case
    columns = [*MOTION, *end_columns(case)]
    grids = [_grid("Motion of the free end, and bulge", result, columns)]
    grids.append(_grid("Tube: lengths, stretches, volume", result, [*BODY, *_rubber(result)]))
    for family in case.threads:
        words = ", ".join(family_words(family))
        grids.append(
            _grid(f"Threads {family.name}: {words}", result, _threads(result, family.name))
        )
    return grids


def besides_grids(result: Result) -> list[Grid]:
    """Return what was found besides: limit points and what lies beyond, a table to a model."""
    return [
        Grid.from_terminal(
            f"{NAMES[run.model]}: {run.limit or 'the last state that was found'}",
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
    last = "the last step" if row is demanded(run)[-1] else "the last step that all solves reach"
    caption = f"{NAMES[run.model]} at {row['pressure_kPa']:.4g} kPa, {last}"
    return Grid.from_terminal(caption, bounds_table(row, case), ("measure", "unit"))


def _grid(caption: str, result: Result, columns: Sequence[Column]) -> Grid:
    (table,) = step_tables(result, columns, UNBOUNDED)
    return Grid.from_terminal(caption, table)


def _threads(result: Result, family: str) -> list[Column]:
    """Return the columns of a family, with the share of the breaking load where it is known."""
    mean, *others = thread_columns(family)
    peak = Column(f"tension_peak_N.{family}", "peak tension", "N", ".4f")
    strain = Column(f"thread_strain.{family}", "strain", "%", ".3f", 100)
    used = Column(f"thread_used.{family}", "of breaking load", "%", ".1f", 100)
    return [mean._replace(title="mean tension"), peak, strain, *others, *_known(result, used)]


def _rubber(result: Result) -> list[Column]:
    return _known(result, Column("rubber_used", "of locking strain", "%", ".1f", 100))


def _known(result: Result, column: Column) -> list[Column]:
    """Return the column if the table has it."""
    there = any(math.isfinite(row.get(column.name, math.nan)) for row in result.rows)
    return [column] if there else []
