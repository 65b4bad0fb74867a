"""The report of a study: the content of each section."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from fem.plots.study.figures import figures
from fem.report.page import render
from fem.report.pictures import Picture, picture
from fem.report.provenance import facts_table
from fem.report.ranges import range_tables, setting_text
from fem.report.scene import Scene, stored_scene
from fem.report.study_sections import comparison, trust
from fem.report.study_tables import (
    counts_table,
    invalid_setting_tables,
    not_reached_tables,
    run_notes,
    vary_table,
)
from fem.results.result import Result
from fem.study.plot_data import plot_data
from fem.study.runner import SHAPES
from fem.study.study_result import StudyResult
from fem.wording.run_sections import NAMES

CONTENTS = {
    "summary": "Summary",
    "cautions": "Cautions",
    "problem": "Problem",
    "case": "Base case",
    "pictures": "Results by setting",
    "scene": "Stored shapes",
    "comparison": "Comparison with measurements",
    "trust": "Where the fast model is accurate enough",
    "failed": "Curves that ended early",
    "method": "Method",
    "definitions": "Definitions and signs",
    "validation": "Validation",
    "provenance": "Provenance",
}
"""The sections of the page, by their anchors."""

MAX_SCENES = 3
"""Maximum number of stored shapes on the page."""


def study_pages(study_result: StudyResult, folder: Path) -> Iterator[str]:
    """Yield versions of the page of a study, each smaller than the one before.

    First the interactive shapes are omitted one by one, from the last, then the pictures.

    Raises
    ------
    InputError
        If files in the folder are damaged.
    """
    pictures, scenes = _pictures(study_result), _stored_scenes(study_result, folder)
    parts = _parts(study_result, folder)
    plans = [(interactive, len(pictures)) for interactive in range(len(scenes), -1, -1)]
    plans += [(0, shown) for shown in range(len(pictures) - 1, -1, -1)]
    for interactive, shown in plans:
        still = [(title, scene._replace(block=None)) for title, scene in scenes[interactive:]]
        parts |= {"pictures": pictures[:shown], "scene": [*scenes[:interactive], *still]}
        parts["contents"] = {id: head for id, head in CONTENTS.items() if parts.get(id, True)}
        parts["omitted"] = [
            *(f"the interactive shapes of {title} (a picture replaces them)" for title, _ in still),
            *(f"a picture: {one.caption}" for one in pictures[shown:]),
        ]
        yield render(
            "study.html", study_result.study.base, study_result.run_record["versions"], **parts
        )


def _parts(study_result: StudyResult, folder: Path) -> dict[str, Any]:
    """Return the content of the page of a study, without pictures and shapes."""
    study, record, data = study_result.study, study_result.run_record, plot_data(study_result)
    began = [session["began"] for session in record.get("sessions") or []]
    unusable = ((entry["setting"], entry["reason"]) for entry in record["unusable"])
    provenance = {
        "study hash (SHA-256)": record["study_hash"],
        "case hash (SHA-256)": record["case_hash"],
        **{f"run {number} began": when for number, when in enumerate(began, 1)},
        "machine": record["machine"],
    }
    return {
        "kind": "report of a study",
        "title": study.title,
        "note": study.note,
        "strip": {
            "solved": " to ".join(dict.fromkeys(when[:10] for when in [*began[:1], *began[-1:]])),
            "cases": str(record["cases"]),
            "models": ", ".join(NAMES[model] for model in study.models),
            "mesh": study.resolution if "fe" in study.models else "",
            "curves": "all solved" if study_result.complete else "INCOMPLETE",
        },
        "models": study.models,
        "counts": counts_table(study_result),
        "ranges": range_tables(data) if data else [],
        "notes": [*run_notes(study_result)],
        "vary": vary_table(study),
        "base": study.base,
        "comparison": comparison(folder, study_result),
        "trust": trust(folder, study_result),
        "failed": [*not_reached_tables(study_result), *invalid_setting_tables(unusable)],
        "resolution": study.resolution,
        "provenance": [
            facts_table("Study and machine", provenance),
            facts_table("Versions", {"versions": record["versions"]}),
        ],
        "history": [],
    }


def _pictures(study_result: StudyResult) -> list[Picture]:
    """Return the figures without their captions, which the page writes below as text."""
    return [
        picture(
            layout.figure(text=False),
            ". ".join([layout.heading, *(note.rstrip(".") for note in layout.notes)]),
        )
        for _, layout in figures(study_result)
    ]


def _stored_scenes(study_result: StudyResult, folder: Path) -> list[tuple[str, Scene]]:
    """Return the first stored shapes with their settings, in the order of the table."""
    stored = [
        key for key in dict.fromkeys(study_result.table.case) if (folder / SHAPES / key).is_dir()
    ]
    data, settings = plot_data(study_result), {}
    if data and data.axes:
        first = data.rows.drop_duplicates("case")
        settings = {str(row["case"]): setting_text(data, row) for _, row in first.iterrows()}
    titles = {key: settings.get(key, f"case {key}") for key in stored[:MAX_SCENES]}
    return [
        (title, stored_scene(Result.load(folder / SHAPES / key), title))
        for key, title in titles.items()
    ]
