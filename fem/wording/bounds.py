"""How far the last step may be trusted: mesh error, and what bonded threads would make of it."""

from __future__ import annotations

from typing import Any

from rich.table import Table

from fem.case.case import Case
from fem.quantities.column import IF_BONDED, MESH_ERROR, Measure
from fem.results.run import Run
from fem.wording.tables import brief_columns, plain_table


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


def bounds_table(row: dict[str, Any], case: Case) -> Table:
    """Return a row to each measure of a step: its value, mesh error, value with bonded threads."""
    bounds = _bounds(row)
    friction, mesh_error = IF_BONDED in bounds, MESH_ERROR in bounds
    table = plain_table()
    table.add_column("")
    table.add_column("gliding" if friction else "value", justify="right")
    if friction:
        table.add_column("bonded", justify="right")
    if mesh_error:
        table.add_column("mesh error", justify="right")
    table.add_column("")
    for column in brief_columns(case):
        cells = [column.title, column.show(row)]
        if friction:
            cells.append(column.of(IF_BONDED).show(row))
        if mesh_error:
            cells.append(_error(column.of(MESH_ERROR), row))
        table.add_row(*cells, column.shown_unit)
    return table


def _error(column: Measure, row: dict[str, Any]) -> str:
    """Return the cell of an error: one that rounds to nothing is less than the last digit."""
    text = column.show(row)
    if text.strip("0."):
        return f"± {text}"
    return f"< {text[:-1]}1"
