"""The report of a study: what stands in each part of its page."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from fem.plots.study.figures import figures
from fem.report.beside import comparison, trust
from fem.report.figures import Picture, picture
from fem.report.page import render
from fem.report.provenance import origin_grid
from fem.report.ranges import range_grids, setting
from fem.report.scene import Scene, kept_scene
from fem.report.varied import counts_grid, said, unreached_grids, unusable_grids, varied_grid
from fem.results.result import Result
from fem.study.plot_data import plot_data
from fem.study.runner import SHAPES
from fem.study.study_result import StudyResult
from fem.wording.run_sections import NAMES

CONTENTS = {
    "brief": "In brief",
    "cautions": "Cautions",
    "job": "What was asked",
    "case": "The case that was varied",
    "pictures": "Pictures over the settings",
    "scene": "Shapes that were kept",
    "bench": "Held against the bench",
    "trust": "Where the fast model does",
    "failed": "Curves that ended early",
    "method": "Method",
    "signs": "How the figures are to be read",
    "held": "What the tool is held against",
    "origin": "Where the figures come from",
}
"""The parts of the page, by their anchors."""

MOST_KEPT = 3
"""Kept shapes that have room."""


def study_pages(study_result: StudyResult, folder: Path) -> Iterator[str]:
    """Yield the page of a study, each time lighter.

    First the shapes to turn are left out one by one, from the last, then the pictures.

    Raises
    ------
    InputError
        If what lies in its folder is damaged.
    """
    pictures, kept = _pictures(study_result), _kept(study_result, folder)
    parts = _parts(study_result, folder)
    plans = [(turned, len(pictures)) for turned in range(len(kept), -1, -1)]
    plans += [(0, shown) for shown in range(len(pictures) - 1, -1, -1)]
    for turned, shown in plans:
        still = [(title, scene._replace(block=None)) for title, scene in kept[turned:]]
        parts |= {"pictures": pictures[:shown], "scene": [*kept[:turned], *still]}
        parts["contents"] = {id: head for id, head in CONTENTS.items() if parts.get(id, True)}
        parts["omitted"] = [
            *(f"the shapes to turn of {title}; a picture of them stays" for title, _ in still),
            *(f"a picture: {one.caption}" for one in pictures[shown:]),
        ]
        yield render(
            "study.html", study_result.study.base, study_result.provenance["versions"], **parts
        )


def _parts(study_result: StudyResult, folder: Path) -> dict[str, Any]:
    """Return all that the page of a study has but pictures over the settings and shapes."""
    study, record, seen = study_result.study, study_result.provenance, plot_data(study_result)
    began = [session["began"] for session in record.get("sessions") or []]
    unusable = ((entry["setting"], entry["reason"]) for entry in record["unusable"])
    origin = {
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
            "curves": "all done" if study_result.complete else "NOT ALL DONE",
        },
        "models": study.models,
        "counts": counts_grid(study_result),
        "ranges": range_grids(seen) if seen else [],
        "said": [*said(study_result)],
        "varied": varied_grid(study),
        "base": study.base,
        "bench": comparison(folder, study_result),
        "trust": trust(folder, study_result),
        "failed": [*unreached_grids(study_result), *unusable_grids(unusable)],
        "resolution": study.resolution,
        "origin": [
            origin_grid("Study and machine", origin),
            origin_grid("Versions", {"versions": record["versions"]}),
        ],
        "history": [],
    }


def _pictures(study_result: StudyResult) -> list[Picture]:
    """Return the figures without their words, which the page writes below as text."""
    return [
        picture(
            layout.figure(words=False),
            ". ".join([layout.heading, *(note.rstrip(".") for note in layout.notes)]),
        )
        for _, layout in figures(study_result)
    ]


def _kept(study_result: StudyResult, folder: Path) -> list[tuple[str, Scene]]:
    """Return the first of the shapes that are kept, by their settings, in the table's order."""
    there = [
        key for key in dict.fromkeys(study_result.table.case) if (folder / SHAPES / key).is_dir()
    ]
    seen, words = plot_data(study_result), {}
    if seen and seen.axes:
        first = seen.rows.drop_duplicates("case")
        words = {str(row["case"]): setting(seen, row) for _, row in first.iterrows()}
    titles = {key: words.get(key, f"case {key}") for key in there[:MOST_KEPT]}
    return [
        (title, kept_scene(Result.load(folder / SHAPES / key), title))
        for key, title in titles.items()
    ]
