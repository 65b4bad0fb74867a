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
from fem.results.result import Result
from fem.results.run import Run
from fem.wording.run_sections import NAMES, Rows, besides, beyond, demanded

GAP = 2
"""Spaces between columns."""

UNSHOWN_WIDTH = 100
"""Width of what goes to a file or a pipe (characters)."""


def terminal() -> Console:
    """Return the console of standard output, which takes text as it is."""
    known = sys.stdout.isatty() or "COLUMNS" in os.environ
    return Console(highlight=False, markup=False, width=None if known else UNSHOWN_WIDTH)


class Column(NamedTuple):
    """A column of the step table as it is shown.

    Attributes
    ----------
    name
        Its name in the step table.
    title, unit, form
        How it is headed, and its number format.
    factor
        What the numbers are multiplied by.
    """

    name: str
    title: str
    unit: str
    form: str
    factor: float = 1.0

    def show(self, row: dict[str, Any] | None) -> str:
        """Return the cell; a dash where there is none."""
        if row is None or self.name not in row:
            return "-"
        text = f"{row[self.name] * self.factor:{self.form}}"
        return text.replace("-", "") if not text.strip("-0.") else text  # no negative zero

    def of(self, suffix: str) -> Column:
        """Return the column ``<name>.<suffix>``, shown in the same way."""
        return self._replace(name=f"{self.name}.{suffix}")


PRESSURE = Column("pressure_kPa", "pressure", "kPa", ".4g")
MOTION = [
    Column("twist_deg", "twist", "deg", ".2f"),
    Column("displacement_mm", "displacement", "mm", ".3f"),
    Column("bulge_mm", "bulge", "mm", ".3f"),
]
STRETCHES = [
    Column("bore_stretch", "bore stretch", "", ".3f"),
    Column("wall_stretch_max", "wall stretch", "", ".3f"),
]
FORCE = Column("end_force_N", "end force", "N", ".3f")
TORQUE = Column("end_torque_Nmm", "end torque", "N mm", ".2f")


def end_columns(case: Case) -> list[Column]:
    """Return the columns of force and torque where the free end is more than free or hung on."""
    end, moved = case.end, case.move.direction if case.move else ""
    columns = []
    if end.axial == "held" or end.axial_spring or moved == "axial":
        columns.append(FORCE)
    if end.twist == "held" or end.twist_spring or moved == "twist":
        columns.append(TORQUE)
    return columns


def thread_columns(family: str) -> list[Column]:
    """Return the columns of a family."""
    return [
        Column(f"tension_N.{family}", "tension", "N", ".4f"),
        Column(f"taut.{family}", "taut", "%", ".0f", 100),
        Column(f"spool_pull_N.{family}", "spool pull", "N", ".3f"),
        Column(f"ring_torque_Nmm.{family}", "ring torque", "N mm", ".2f"),
    ]


class _Block(NamedTuple):
    """Columns that stay together: their heads, each of two lines, and their cells."""

    heads: list[str]
    cells: list[list[str]]

    @property
    def width(self) -> int:
        """Width with the gaps (characters)."""
        columns = zip(self.heads, self.cells, strict=True)
        return sum(max(map(len, [*head.split("\n"), *cells])) + GAP for head, cells in columns)


def step_tables(result: Result, columns: Sequence[Column], width: int) -> Iterator[Table]:
    """Yield tables no wider than `width`: a row to each step asked for, the models side by side."""
    steps = list(zip_longest(*(demanded(run) for run in result.runs)))
    if result.case.pressure is None:  # then each model has its own
        columns = [PRESSURE, *columns]
    blocks = []
    for column in columns:
        heads = [f"{column.title}\n{NAMES[run.model]}, {column.unit}" for run in result.runs]
        cells = [[column.show(step[i]) for step in steps] for i in range(len(result.runs))]
        blocks.append(_Block(heads, cells))
    yield from _fit([_asked(result.case, steps)], blocks, width)


def _asked(case: Case, steps: Sequence[Sequence[dict[str, Any] | None]]) -> _Block:
    """Return what was asked for in each step."""
    rows: Rows = [next(row for row in step if row) for step in steps]
    if case.pressure:
        heads, cells = [f"pressure\n{PRESSURE.unit}"], [[PRESSURE.show(row) for row in rows]]
    elif case.volume:
        start = rows[0]["volume_mm3"] if rows else 0.0  # none if the way to rest ended early
        heads = ["added\nmL"]
        cells = [[f"{(row['volume_mm3'] - start) / 1000:.4g}" for row in rows]]
    else:
        heads, cells = ["air\nmg"], [[f"{row['air_mg']:.4g}" for row in rows]]
    if case.move:
        place, unit = (
            ("displacement_mm", "mm") if case.move.direction == "axial" else ("twist_deg", "deg")
        )
        driven = case.drive.steps
        heads.append(f"moved to\n{unit}")
        cells.append(["" if i <= driven else f"{row[place]:.4g}" for i, row in enumerate(rows)])
    return _Block(heads, cells)


def besides_table(run: Run) -> Table:
    """Return the rows of limit points and of states that nobody asked for."""
    rows = besides(run)
    columns = [PRESSURE, *MOTION, *STRETCHES]
    blocks = [
        _Block(["state\n"], [[_kind(run, row) for row in rows]]),
        *(_Block([f"{c.title}\n{c.unit}"], [[c.show(row) for row in rows]]) for c in columns),
        _Block(["stable\n"], [["-" if row["limit"] else _yes(row["stable"]) for row in rows]]),
    ]
    return _table(blocks)


def _kind(run: Run, row: dict[str, Any]) -> str:
    return "limit" if row["limit"] else "beyond" if beyond(run, row) else "last"


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
