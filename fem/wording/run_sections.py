"""Parts of a run: what was asked for and what was found besides; the drive and the move."""

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
"""The models, as tables and sentences name them."""

ADDED, AIR = Measure(table.added), Measure(table.air)


def extra_rows(run: Run) -> Rows:
    """Return the rows that were not asked for: limit points, states beyond, a last good state."""
    return [row for row in run.rows if not row["requested"]]


class HasRows(Protocol):
    """What has the rows of a path."""

    @property
    def rows(self) -> Rows:
        """The rows."""


def drive_rows(run: HasRows, case: Case) -> Rows:
    """Return the rows up to the last step of the drive, and beyond a limit point if it ends so."""
    return run.rows[: _drive_end(run, case) + 1]


def move_rows(run: HasRows, case: Case) -> Rows:
    """Return the rows of the move from where it begins; none if the path does not come so far."""
    return run.rows[_drive_end(run, case) :] if case.move else []


def _drive_end(run: HasRows, case: Case) -> int:
    """Return the number of the row where the drive has done its last step."""
    asked = [number for number, row in enumerate(run.rows) if row["requested"]]
    return asked[case.drive.steps] if case.drive.steps < len(asked) else len(run.rows)


def place_text(
    run: HasRows,
    case: Case,
    row: dict[str, Any],
    before: dict[str, Any] | None = None,
    share: float = 1.0,
) -> str:
    """Return where a row is on the path: its pressure, or how far the free end is moved.

    With the row `before` it is the place at `share` of the way from there.
    """
    measured = table.pressure
    if case.move and any(row is other for other in move_rows(run, case)[1:]):
        measured = table.displacement if case.move.direction == "axial" else table.twist
    start, end = (before or row)[measured.column], row[measured.column]
    return f"{start + share * (end - start):.3g} {measured.unit}"


def family_words(family: ThreadFamily) -> list[str]:
    """Return what describes a family: helix angle, number, and hold and slack if not the usual."""
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
    """Return the columns of what is asked for; none where that is the pressure."""
    if case.volume:
        return [ADDED]
    return [AIR] if case.gas else []


def with_added(case: Case, rows: Rows) -> Rows:
    """Return rows of a path from its first, with what was added where that is asked for."""
    if not case.volume or not rows:
        return rows
    volume = table.volume.column
    return [row | {ADDED.column: table.added.value(row[volume] - rows[0][volume])} for row in rows]


def request_text(case: Case, row: dict[str, Any]) -> str:
    """Return what was asked for to come to a state; empty where that is the pressure or unknown."""
    words = [
        f"{row[column.column]:.3g} {column.unit} {'of air' if column == AIR else 'added'}"
        for column in drive_columns(case)
        if column.column in row
    ]
    return "".join(words)
