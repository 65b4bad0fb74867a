"""Sections of a run: requested and extra rows, drive and move; and words for places in it."""

from __future__ import annotations

import math
from typing import Any, Protocol

from fem.case.case import Case
from fem.case.thread_family import ThreadFamily
from fem.quantities import table
from fem.quantities.column import Measure
from fem.results.run import Run

type Rows = list[dict[str, Any]]

NAMES = {"fe": "FE", "fast": "fast"}
"""Names of the models in tables and sentences."""

ADDED, AIR = Measure(table.added), Measure(table.air)


def extra_rows(run: Run) -> Rows:
    """Return the rows that were not requested: limit points, states beyond, a last good state."""
    return [row for row in run.rows if not row["requested"]]


class HasRows(Protocol):
    """An object with the rows of a path."""

    @property
    def rows(self) -> Rows:
        """The rows."""


def drive_rows(run: HasRows, case: Case) -> Rows:
    """Return the rows up to the last step of the drive, with those beyond a limit point."""
    return run.rows[: _drive_end(run, case) + 1]


def move_rows(run: HasRows, case: Case) -> Rows:
    """Return the rows of the move from its start; none if the path ends before it."""
    return run.rows[_drive_end(run, case) :] if case.move else []


def _drive_end(run: HasRows, case: Case) -> int:
    """Return the number of the row of the last step of the drive."""
    requested = [number for number, row in enumerate(run.rows) if row["requested"]]
    return requested[case.drive.steps] if case.drive.steps < len(requested) else len(run.rows)


def place_text(
    run: HasRows,
    case: Case,
    row: dict[str, Any],
    before: dict[str, Any] | None = None,
    share: float = 1.0,
) -> str:
    """Return where a row is on the path: its pressure, or the prescribed motion of the free end.

    With the row `before`, the place is at a `share` of the way from that row to this one.
    """
    quantity = table.pressure
    if case.move and any(row is other for other in move_rows(run, case)[1:]):
        quantity = table.displacement if case.move.direction == "axial" else table.twist
    start, end = (before or row)[quantity.column], row[quantity.column]
    return f"{start + share * (end - start):.3g} {quantity.unit}"


def family_words(family: ThreadFamily) -> list[str]:
    """Return helix angle and number of threads of a family; hold and slack unless the defaults."""
    angle = f"{math.degrees(family.angle):+.3g}" if family.angle else "0"
    words = [f"{angle}°", f"{family.count} {'thread' if family.count == 1 else 'threads'}"]
    if family.hold != "bonded":
        words.append("sliding, geodesic path" if family.hold == "geodesic" else family.hold)
    if family.slack.percent is not None:
        words.append(f"slack {family.slack}")
    elif family.slack.cut_angle is not None:
        words.append(str(family.slack))
    return words


def drive_columns(case: Case) -> list[Measure]:
    """Return the columns of what drives the case; none where that is the pressure."""
    if case.volume:
        return [ADDED]
    return [AIR] if case.gas else []


def with_added(case: Case, rows: Rows) -> Rows:
    """Return rows from the first of a path, with the added volume where that drives the case."""
    if not case.volume or not rows:
        return rows
    volume = table.volume.column
    return [row | {ADDED.column: table.added.value(row[volume] - rows[0][volume])} for row in rows]


def request_text(case: Case, row: dict[str, Any]) -> str:
    """Return the added volume or air of a state; empty where pressure drives or it is unknown."""
    words = [
        f"{row[column.column]:.3g} {column.unit} {'of air' if column == AIR else 'added'}"
        for column in drive_columns(case)
        if column.column in row
    ]
    return "".join(words)
