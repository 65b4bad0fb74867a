"""The report of a study: what stands in each part of its page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from fem.plots.layout import FigureLayout
from fem.plots.study.figures import figures
from fem.report.beside import comparison, trust
from fem.report.case import asked, case_grids, family_grid
from fem.report.figures import Picture, picture
from fem.report.page import render
from fem.report.provenance import origin_grid
from fem.report.ranges import range_grids, setting
from fem.report.scene import Kept
from fem.report.validation import held
from fem.report.varied import counts_grid, said, unreached_grids, unusable_grids, varied_grid
from fem.results.result import Result
from fem.study.plot_data import survey
from fem.study.runner import SHAPES
from fem.study.study_result import Outcome
from fem.wording.run_sections import NAMES
from fem.wording.text_table import TextTable

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


def study_pages(outcome: Outcome, folder: Path) -> Iterator[str]:
    """Yield the page of a study, each time lighter.

    First the shapes to turn are left out one by one, from the last, then the pictures.

    Raises
    ------
    InputError
        If what lies in its folder is damaged.
    """
    pictures, kept = _pictures(outcome), _kept(outcome, folder)
    told = _told(outcome, folder)
    plans = [(turned, len(pictures)) for turned in range(len(kept), -1, -1)]
    plans += [(0, shown) for shown in range(len(pictures) - 1, -1, -1)]
    for turned, shown in plans:
        scenes = [(one.title, one.scene(turn=n < turned)) for n, one in enumerate(kept)]
        there = {"pictures": pictures[:shown], "scene": scenes, **told}
        contents = {id: head for id, head in CONTENTS.items() if there.get(id, True)}
        omitted = _omitted(kept[turned:], pictures[shown:])
        yield render("study.html", **there, contents=contents, omitted=omitted)


def _omitted(kept: Sequence[Kept], pictures: Sequence[Picture]) -> list[str]:
    return [
        *(f"the shapes to turn of {one.title}; a picture of them stays" for one in kept),
        *(f"a picture: {one.caption}" for one in pictures),
    ]


def _told(outcome: Outcome, folder: Path) -> dict[str, Any]:
    """Return all that the page tells but pictures over the settings and shapes."""
    study, told, seen = outcome.study, outcome.provenance, survey(outcome)
    unusable = ((entry["setting"], entry["reason"]) for entry in told["unusable"])
    return {
        "kind": "report of a study",
        "title": study.title,
        "note": " ".join(study.note.split()),
        "strip": _strip(outcome),
        "models": study.models,
        "counts": counts_grid(outcome),
        "ranges": range_grids(seen) if seen else [],
        "said": [*said(outcome)],
        "varied": varied_grid(study),
        "asked": asked(study.base),
        "base": study.base.title,
        "base_note": " ".join(study.base.note.split()),
        "family": family_grid(study.base),
        "case_grids": case_grids(study.base),
        "bench": comparison(folder, outcome),
        "trust": trust(folder, outcome),
        "failed": [*unreached_grids(outcome), *unusable_grids(unusable)],
        "resolution": study.resolution,
        "held": held(),
        "origin": _origin(told),
    }


def _strip(outcome: Outcome) -> list[tuple[str, str]]:
    """Return the facts below the title."""
    told = outcome.provenance
    began = [session["began"][:10] for session in told.get("sessions") or []]
    facts = {
        "solved": " to ".join(dict.fromkeys([*began[:1], *began[-1:]])),
        "cases": str(told["cases"]),
        "models": ", ".join(NAMES[model] for model in outcome.study.models),
        "mesh": outcome.study.resolution if "fe" in outcome.study.models else "",
        "curves": "all done" if outcome.complete else "NOT ALL DONE",
        "solved by": f"tubewright {told['versions'].get('tubewright', '')}".strip(),
    }
    return [(name, value) for name, value in facts.items() if value]


def _pictures(outcome: Outcome) -> list[Picture]:
    return [_picture(layout) for _, layout in figures(outcome)]


def _picture(layout: FigureLayout) -> Picture:
    """Return a figure without its words, which the page writes below as text."""
    caption = ". ".join([layout.heading, *(note.rstrip(".") for note in layout.notes)])
    return picture(layout.figure(words=False), caption)


def _kept(outcome: Outcome, folder: Path) -> list[Kept]:
    """Return the first of the shapes that are kept, in the order of the table."""
    there = [key for key in dict.fromkeys(outcome.table.case) if (folder / SHAPES / key).is_dir()]
    words = _settings(outcome)
    return [
        Kept(words.get(key, f"case {key}"), Result.load(folder / SHAPES / key))
        for key in there[:MOST_KEPT]
    ]


def _settings(outcome: Outcome) -> dict[str, str]:
    """Return the setting of each case in words, by its key."""
    seen = survey(outcome)
    if seen is None or not seen.axes:
        return {}
    first = seen.rows.drop_duplicates("case")
    return {str(row["case"]): setting(seen, row) for _, row in first.iterrows()}


def _origin(told: Mapping[str, Any]) -> list[TextTable]:
    hashes = {"study hash (SHA-256)": told["study_hash"], "case hash (SHA-256)": told["case_hash"]}
    sessions = {
        f"run {number} began": session["began"]
        for number, session in enumerate(told.get("sessions") or [], 1)
    }
    return [
        origin_grid("Study and machine", {**hashes, **sessions, "machine": told["machine"]}),
        origin_grid("Versions", {"versions": told["versions"]}),
    ]
