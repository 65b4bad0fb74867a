"""How far the last step may be trusted: mesh error, and what bonded threads would make of it."""

from __future__ import annotations

from typing import Any

from fem.case.case import Case
from fem.quantities.column import IF_BONDED, MESH_ERROR, Measure
from fem.results.run import Run
from fem.wording.run_sections import NAMES
from fem.wording.tables import PRESSURE, brief_columns
from fem.wording.text_table import TextTable


def bounded_row(run: Run) -> dict[str, Any] | None:
    """Return the last row that all second solves reached; None if there was none, or no such row.

    A second solve that has no row at all does not count.
    """
    known = [(row, _bounds(row)) for row in run.requested]
    told = set().union(*(bounds for _, bounds in known))
    rows = [row for row, bounds in known if bounds and bounds == told]
    return rows[-1] if rows else None


def _bounds(row: dict[str, Any]) -> set[str]:
    """Return which second solves have columns in a row."""
    return {name.rpartition(".")[2] for name in row} & {MESH_ERROR, IF_BONDED}


def bounds_table(run: Run, case: Case) -> TextTable | None:
    """Return a row to each measure of a step: its value, mesh error, value with bonded threads.

    It is the last step that all additional solves reached; None if there is none.
    """
    row = bounded_row(run)
    if row is None:
        return None
    last = "the last step" if row is run.requested[-1] else "the last step that all solves reach"
    caption = f"{NAMES[run.model]} at {PRESSURE.text(row)}, {last}"
    bounds = _bounds(row)
    friction, mesh_error = IF_BONDED in bounds, MESH_ERROR in bounds
    titles = ["measure", "gliding" if friction else "value"]
    titles += ["bonded"] * friction + ["mesh error"] * mesh_error
    rows = [
        [
            column.title,
            column.show(row),
            *([column.of(IF_BONDED).show(row)] if friction else []),
            *([_error(column.of(MESH_ERROR), row)] if mesh_error else []),
            column.shown_unit,
        ]
        for column in brief_columns(case)
    ]
    return TextTable(caption, [*titles, "unit"], rows, words=(0, len(titles)))


def _error(column: Measure, row: dict[str, Any]) -> str:
    """Return the cell of an error: one that rounds to nothing is less than the last digit."""
    text = column.show(row)
    if text.strip("0."):
        return f"± {text}"
    return f"< {text[:-1]}1"
