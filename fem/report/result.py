"""The report of a result: what stands in each part of its page."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fem.quantities import table
from fem.quantities.column import MESH_ERROR, Measure, with_unit
from fem.report.margins import balance_grid, margin_grid
from fem.report.page import render
from fem.report.panels import keys, notes, panel_rows
from fem.report.provenance import history_grid, mesh_grid, origin_grid, run_grid
from fem.report.scene import scenes
from fem.results.result import Result
from fem.wording.bounds import bounds_table
from fem.wording.remarks import remarks, run_sentence
from fem.wording.run_sections import NAMES
from fem.wording.tables import PRESSURE, brief_columns, extra_state_tables, step_tables
from fem.wording.text_table import TextTable

CONTENTS = {
    "brief": "In brief",
    "cautions": "Cautions",
    "case": "The job and the case",
    "method": "Method and mesh",
    "curves": "Curves",
    "scene": "Shape",
    "steps": "All steps",
    "margins": "Limits",
    "balance": "Equilibrium checks",
    "signs": "How the figures are to be read",
    "held": "What the tool is held against",
    "origin": "Where the figures come from",
}
"""The parts of the page, by their anchors."""


def result_pages(result: Result) -> Iterator[str]:
    """Yield the page of a result, each time lighter."""
    parts = _parts(result)
    for scene, omitted in scenes(result):
        contents = {id: head for id, head in CONTENTS.items() if id != "scene" or scene}
        yield render(
            "result.html",
            result.case,
            result.environment.versions,
            **parts,
            contents=contents,
            scene=scene,
            omitted=omitted,
        )


def _parts(result: Result) -> dict[str, Any]:
    """Return all that the page of a result has but the shapes."""
    case = result.case
    fe = next((run for run in result.runs if run.model == "fe"), None)
    return {
        "kind": "report of a solved case",
        "title": case.title,
        "note": case.note,
        "strip": {
            "case": case.key,
            "models": ", ".join(NAMES[run.model] for run in result.runs),
            "mesh": fe and fe.mesh.get("resolution"),
            "last step": "reached" if result.reached else "NOT REACHED",
        },
        "models": [run.model for run in result.runs],
        "brief": brief_grid(result),
        "outcomes": [run_sentence(run, case) for run in result.runs],
        "mesh": mesh_grid(fe) if fe else None,
        "bounds": bounds_table(fe, case) if fe else None,
        "mesh_error": fe is not None and MESH_ERROR in fe.additional,
        "rows": panel_rows(result),
        "keys": keys(result),
        "curve_notes": notes(result),
        "steps": step_tables(result, brief=False),
        "margins": margin_grid(result),
        "remarks": remarks(result),
        "besides": extra_state_tables(result),
        "balance": balance_grid(result),
        "origin": [
            run_grid(result),
            origin_grid(
                "Case and machine",
                {"case hash (SHA-256)": case.hash, "machine": result.environment.machine},
            ),
            origin_grid("Versions", {"versions": result.environment.versions}),
        ],
        "history": [history_grid(result)],
    }


def brief_grid(result: Result) -> TextTable:
    """Return the last step that each model reached, the models side by side.

    Where the way to rest ended early no step was reached; then it is the last state.
    """
    reached = all(run.requested for run in result.runs)
    last = [(run.requested or run.rows)[-1] for run in result.runs]
    columns = [PRESSURE, *brief_columns(result.case), Measure(table.wall_stretch_max)]
    rows = [
        [with_unit(c.title, c.shown_unit), *(c.show(row) for row in last), *_difference(c, last)]
        for c in columns
    ]
    names = [NAMES[run.model] for run in result.runs]
    more = ["fast less FE"] if set(names) == set(NAMES.values()) else []
    caption = "The last step that was asked for and reached" if reached else "The last state found"
    return TextTable(caption, ["measure", *names, *more], rows)


def _difference(column: Measure, rows: list[dict[str, Any]]) -> list[str]:
    """Return by how much the fast model's figure is greater, where both models took part."""
    by_model = {row["model"]: row for row in rows}
    if set(by_model) != set(NAMES):
        return []
    fe, fast = (by_model[model].get(column.column) for model in ("fe", "fast"))
    if fe is None or fast is None:
        return ["-"]
    text = column.show({column.column: fast - fe})
    return [text if text.startswith("-") or not text.strip("0.") else f"+{text}"]
