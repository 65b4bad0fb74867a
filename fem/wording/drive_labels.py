"""What is asked of a tube that is driven by a volume or by air: told beside its pressure."""

from __future__ import annotations

from typing import Any

from fem.case.case import Case
from fem.wording.run_sections import Rows
from fem.wording.tables import Column

ADDED = Column("added_mL", "added", "mL", ".3f")
AIR = Column("air_mg", "air", "mg", ".3f")


def drive_columns(case: Case) -> list[Column]:
    """Return the columns of what is asked for; none where that is the pressure."""
    if case.volume:
        return [ADDED]
    return [AIR] if case.gas else []


def with_added(case: Case, rows: Rows) -> Rows:
    """Return rows of a path from its first, with what was added where that is asked for."""
    if not case.volume or not rows:
        return rows
    full = rows[0]["volume_mm3"]
    return [row | {ADDED.name: (row["volume_mm3"] - full) / 1000} for row in rows]


def asked_words(case: Case, row: dict[str, Any]) -> str:
    """Return what was asked for to come to a state; empty where that is the pressure or unknown."""
    words = [
        f"{row[column.name]:.3g} {column.unit} {'of air' if column is AIR else 'added'}"
        for column in drive_columns(case)
        if column.name in row
    ]
    return "".join(words)
