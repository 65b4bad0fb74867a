"""What drives a tube by a volume or by air: shown beside its pressure."""

from __future__ import annotations

from typing import Any

from fem.case.case import Case
from fem.quantities import table
from fem.quantities.column import Measure
from fem.wording.run_sections import Rows

ADDED, AIR = Measure(table.added), Measure(table.air)


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


def asked_words(case: Case, row: dict[str, Any]) -> str:
    """Return what was asked for to come to a state; empty where that is the pressure or unknown."""
    words = [
        f"{row[column.column]:.3g} {column.unit} {'of air' if column == AIR else 'added'}"
        for column in drive_columns(case)
        if column.column in row
    ]
    return "".join(words)
