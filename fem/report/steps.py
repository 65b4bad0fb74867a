"""The step table: all steps that were asked for, the models side by side, a table to a subject."""

from __future__ import annotations

import math
from collections.abc import Sequence

from fem.quantities.column import Measure, measures_of
from fem.quantities.quantity import NO_TRAIT
from fem.results.result import Result
from fem.wording.tables import (
    besides_table,
    end_columns,
    motion_columns,
    step_table,
    thread_columns,
    thread_table,
)
from fem.wording.text_table import TextTable


def step_grids(result: Result) -> list[TextTable]:
    """Return the tables of all steps: motion and end loads, the body, each family of threads."""
    case = result.case
    motion = _known(result, [*motion_columns(), *end_columns(case)])
    tube = _known(result, measures_of(section="tube"))
    grids = [
        step_table(result, motion, "Motion of the free end, and bulge", labels=True),
        step_table(result, tube, "Tube: lengths, stretches, volume", labels=True),
    ]
    for family in case.threads:
        threads = _known(result, thread_columns(family.name, NO_TRAIT))
        grids.append(thread_table(result, family, threads, labels=True))
    return grids


def besides_grids(result: Result) -> list[TextTable]:
    """Return what was found besides: limit points and what lies beyond, a table to a model."""
    return [*filter(None, map(besides_table, result.runs))]


def _known(result: Result, columns: Sequence[Measure]) -> list[Measure]:
    """Return those columns that are known at any step."""
    return [
        column
        for column in columns
        if any(math.isfinite(row.get(column.column, math.nan)) for row in result.rows)
    ]
