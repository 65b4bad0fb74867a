"""Error estimates of the last step: its mesh error, and its values with bonded threads."""

from __future__ import annotations

from typing import Any

from fem.case.case import Case
from fem.quantities.column import IF_BONDED, MESH_ERROR, Measure
from fem.results.run import Run
from fem.wording.run_sections import NAMES
from fem.wording.tables import PRESSURE, brief_columns
from fem.wording.text_table import TextTable


def bounds_table(run: Run, case: Case) -> TextTable | None:
    """Return a row for each measure of a step: value, value with bonded threads, mesh error.

    The step is the last one that all additional solves reached; None if there is none.
    """
    bounds = set(run.additional)
    known = [row for row in run.requested if bounds <= {name.rpartition(".")[2] for name in row}]
    if not bounds or not known:
        return None
    row = known[-1]
    last = "the last step" if row is run.requested[-1] else "the last step that all solves reached"
    caption = f"{NAMES[run.model]} at {PRESSURE.text(row)}, {last}"
    friction, mesh_error = IF_BONDED in bounds, MESH_ERROR in bounds
    titles = ["quantity", "sliding" if friction else "value"]
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
    return TextTable(caption, [*titles, "unit"], rows, text_columns=(0, len(titles)))


def _error(column: Measure, row: dict[str, Any]) -> str:
    """Return the text of an error; one that rounds to zero is given as less than the last digit."""
    text = column.show(row)
    if text.strip("0."):
        return f"± {text}"
    return f"< {text[:-1]}1"
