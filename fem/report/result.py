"""The report of a result: the content of each section."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fem.quantities import table
from fem.quantities.column import MESH_ERROR, Measure, with_unit
from fem.report.limits import equilibrium_table, limits_table
from fem.report.page import render
from fem.report.panels import legend, notes, panel_rows
from fem.report.provenance import facts_table, history_table, mesh_table, runs_table
from fem.report.scene import scenes
from fem.results.result import Result
from fem.wording.bounds import bounds_table
from fem.wording.remarks import remarks, run_sentence
from fem.wording.run_sections import NAMES
from fem.wording.tables import PRESSURE, brief_columns, extra_state_tables, step_tables
from fem.wording.text_table import TextTable

CONTENTS = {
    "summary": "Summary",
    "cautions": "Cautions",
    "case": "Problem and inputs",
    "method": "Method and mesh",
    "curves": "Curves",
    "scene": "Shape",
    "steps": "All steps",
    "limits": "Limits",
    "equilibrium": "Equilibrium checks",
    "definitions": "Definitions and signs",
    "validation": "Validation",
    "provenance": "Provenance",
}
"""The sections of the page, by their anchors."""


def result_pages(result: Result) -> Iterator[str]:
    """Yield versions of the page of a result, each smaller than the one before."""
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
    """Return the content of the page of a result, without the shapes."""
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
        "summary": summary_table(result),
        "outcomes": [run_sentence(run, case) for run in result.runs],
        "mesh": mesh_table(fe) if fe else None,
        "bounds": bounds_table(fe, case) if fe else None,
        "mesh_error": fe is not None and MESH_ERROR in fe.additional,
        "rows": panel_rows(result),
        "legend": legend(result),
        "curve_notes": notes(result),
        "steps": step_tables(result, brief=False),
        "limits": limits_table(result),
        "remarks": remarks(result),
        "extra_states": extra_state_tables(result),
        "equilibrium": equilibrium_table(result),
        "provenance": [
            runs_table(result),
            facts_table(
                "Case and machine",
                {"case hash (SHA-256)": case.hash, "machine": result.environment.machine},
            ),
            facts_table("Versions", {"versions": result.environment.versions}),
        ],
        "history": [history_table(result)],
    }


def summary_table(result: Result) -> TextTable:
    """Return the values at the last step that each model reached, the models side by side.

    If no step was reached, not even the state at rest, they are those of the last state found.
    """
    reached = all(run.requested for run in result.runs)
    last = [(run.requested or run.rows)[-1] for run in result.runs]
    columns = [PRESSURE, *brief_columns(result.case), Measure(table.wall_stretch_max)]
    rows = [
        [with_unit(c.title, c.shown_unit), *(c.show(row) for row in last), *_difference(c, last)]
        for c in columns
    ]
    names = [NAMES[run.model] for run in result.runs]
    difference = ["fast − FE"] if set(names) == set(NAMES.values()) else []
    caption = "Results at the last step reached" if reached else "Results at the last state found"
    if result.reached:
        caption = "Results at the last step"
    return TextTable(caption, ["quantity", *names, *difference], rows)


def _difference(column: Measure, rows: list[dict[str, Any]]) -> list[str]:
    """Return the value of the fast model minus that of the FE model, if both were solved."""
    by_model = {row["model"]: row for row in rows}
    if set(by_model) != set(NAMES):
        return []
    fe, fast = (by_model[model].get(column.column) for model in ("fe", "fast"))
    if fe is None or fast is None:
        return ["-"]
    text = column.show({column.column: fast - fe})
    return [text if text.startswith("-") or not text.strip("0.") else f"+{text}"]
