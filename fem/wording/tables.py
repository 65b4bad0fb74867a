"""Tables of steps for a terminal: the models side by side, as many columns as fit its width."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from itertools import zip_longest
from typing import Any, NamedTuple

from rich.console import Console
from rich.table import Table

from fem.case.case import Case
from fem.quantities import table
from fem.quantities.column import Measure, measures_of
from fem.quantities.quantity import Trait
from fem.results.result import Result
from fem.results.run import Run
from fem.wording.drive_labels import drive_columns, with_added
from fem.wording.run_sections import NAMES, Rows, besides

GAP = 2
"""Spaces between columns."""

UNSHOWN_WIDTH = 100
"""Width of what goes to a file or a pipe (characters)."""


def terminal() -> Console:
    """Return the console of standard output, which takes text as it is."""
    known = sys.stdout.isatty() or "COLUMNS" in os.environ
    return Console(highlight=False, markup=False, width=None if known else UNSHOWN_WIDTH)


PRESSURE = Measure(table.pressure)


def motion_columns() -> list[Measure]:
    """Return the columns of the motion of the free end, and the bulge."""
    return measures_of(section="motion")


def end_columns(case: Case) -> list[Measure]:
    """Return the columns of force and torque where the free end is more than free or hung on."""
    end, moved = case.end, case.move.direction if case.move else ""
    columns = []
    if end.axial == "held" or end.axial_spring or moved == "axial":
        columns.append(Measure(table.end_force))
    if end.twist == "held" or end.twist_spring or moved == "twist":
        columns.append(Measure(table.end_torque))
    return columns


def thread_columns(family: str, traits: Trait = Trait.BRIEF) -> list[Measure]:
    """Return the columns of a family."""
    return measures_of([family], section="threads", traits=traits)


def brief_columns(case: Case) -> list[Measure]:
    """Return what matters most of a step, but the share that is taut: that jumps."""
    threads = [column for family in case.threads for column in thread_columns(family.name)]
    columns = [*motion_columns(), *end_columns(case), *threads]
    return [column for column in columns if column.quantity is not table.taut]


def readout_columns(cases: Sequence[Case]) -> list[Measure]:
    """Return what page and stills read out: drive, motion, end loads, then family by family."""
    families = dict.fromkeys(family.name for case in cases for family in case.threads)
    drives = [column for case in cases for column in drive_columns(case)]
    loads = [column for case in cases for column in end_columns(case)]
    known = measures_of(families, traits=Trait.READOUT)
    tube = [measure for measure in known if not measure.family]
    threads = [measure for measure in known if measure.family]
    return [*dict.fromkeys([*drives, *tube, *loads, *threads])]


class _Block(NamedTuple):
    """Columns that stay together: their heads, each of two lines, and their cells."""

    heads: list[str]
    cells: list[list[str]]

    @property
    def width(self) -> int:
        """Width with the gaps (characters)."""
        columns = zip(self.heads, self.cells, strict=True)
        return sum(max(map(len, [*head.split("\n"), *cells])) + GAP for head, cells in columns)


def step_tables(
    result: Result, columns: Sequence[Measure], width: int, *, labels: bool = False
) -> Iterator[Table]:
    """Yield tables no wider than `width`: a row to each step asked for, the models side by side.

    Columns are headed by their short words, or by their labels.
    """
    steps = list(zip_longest(*(run.requested for run in result.runs)))
    if result.case.pressure is None:  # then each model has its own
        columns = [PRESSURE, *columns]
    blocks = []
    for column in columns:
        words = column.quantity.label if labels else column.quantity.short
        units = [
            ", ".join(filter(None, [NAMES[run.model], column.shown_unit])) for run in result.runs
        ]
        heads = [f"{words}\n{unit}" for unit in units]
        cells = [[column.show(step[i]) for step in steps] for i in range(len(result.runs))]
        blocks.append(_Block(heads, cells))
    yield from _fit([_asked(result.case, steps)], blocks, width)


def _asked(case: Case, steps: Sequence[Sequence[dict[str, Any] | None]]) -> _Block:
    """Return what was asked for in each step."""
    rows: Rows = [next(row for row in step if row) for step in steps]
    (column,) = drive_columns(case) or [PRESSURE]
    heads = [_head(column)]
    cells = [[column.show(row, ".4g") for row in with_added(case, rows)]]
    if case.move:
        place = table.displacement if case.move.direction == "axial" else table.twist
        driven, column = case.drive.steps, Measure(place)
        heads.append(f"moved to\n{column.unit}")
        cells.append(["" if i <= driven else column.show(row, ".4g") for i, row in enumerate(rows)])
    return _Block(heads, cells)


def besides_table(run: Run) -> Table:
    """Return the rows of limit points and of states that nobody asked for."""
    rows = besides(run)
    stretches = measures_of(section="tube", traits=Trait.BRIEF)
    columns = [PRESSURE, *motion_columns(), *stretches]
    blocks = [
        _Block(["state\n"], [[_kind(run, row) for row in rows]]),
        *(_Block([_head(c)], [[c.show(row) for row in rows]]) for c in columns),
        _Block(["stable\n"], [["-" if row["limit"] else _yes(row["stable"]) for row in rows]]),
    ]
    return _table(blocks)


def _head(column: Measure) -> str:
    return f"{column.title}\n{column.shown_unit}"


def _kind(run: Run, row: dict[str, Any]) -> str:
    return "limit" if row["limit"] else "beyond" if run.beyond(row) else "last"


def _yes(truth: bool) -> str:
    return "yes" if truth else "no"


def _fit(keys: list[_Block], blocks: list[_Block], width: int) -> Iterator[Table]:
    """Yield tables, each with the keys and as many of the blocks as fit, one at least."""
    room = width + GAP - sum(key.width for key in keys)
    while blocks:
        count, used = 0, 0
        while count < len(blocks) and (not count or used + blocks[count].width <= room):
            used += blocks[count].width
            count += 1
        yield _table([*keys, *blocks[:count]])
        blocks = blocks[count:]


def _table(blocks: Sequence[_Block]) -> Table:
    table = plain_table()
    for block in blocks:
        for head in block.heads:
            table.add_column(head, justify="right", no_wrap=True)
    for cells in zip(*(column for block in blocks for column in block.cells), strict=True):
        table.add_row(*cells)
    return table


def plain_table() -> Table:
    """Return an empty table without rules."""
    return Table(box=None, pad_edge=False, padding=(0, GAP, 0, 0))
