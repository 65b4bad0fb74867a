"""What a study varies, how its curves went, and what failed: tables and sentences."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from fem.results.termination import restore
from fem.study.job_list import JobList
from fem.study.plan import Study
from fem.study.study_result import StudyResult
from fem.study.vary import Vary
from fem.wording.run_sections import NAMES
from fem.wording.termination import reason
from fem.wording.text_table import TextTable

MOST = 30
"""So many curves that did not reach their last step are told one by one."""


def varied_grid(study: Study) -> TextTable:
    """Return what varies, a row to each table [[vary]], and what differs throughout."""
    rows = [[_fields(vary), *_values(study, vary)] for vary in study.vary]
    rows += [[field, str(value), "throughout"] for field, value in study.set.items()]
    return TextTable(
        "Fields of the case", ["field", "values", "count"], rows, text_columns=(0, 1, 2)
    )


def _fields(vary: Vary) -> str:
    opposite = [f"{field} (other sign)" for field in vary.opposite]
    return ", ".join([vary.field, *vary.same, *opposite])


def _values(study: Study, vary: Vary) -> list[str]:
    if vary.values is not None:
        return [", ".join(map(str, vary.values)), str(len(vary.values))]
    span = f"{vary.start} to {vary.end}"
    if vary.count is None and study.scatter:
        design = study.scatter
        return [span, f"{design.points} points of a {design.method} design, seed {design.seed}"]
    return [span, f"{vary.count}, equally spaced"]


def counts_grid(study_result: StudyResult) -> TextTable:
    """Return how the curves of each model went."""
    told = study_result.provenance
    rows = []
    for model in study_result.study.models:
        ended = Counter(e["status"] for e in told["not_reached"] if e["model"] == model)
        lost = {e["case"] for e in told["not_reached"] if e["model"] == model}
        found = set(study_result.table.case[study_result.table.model == model])
        reached = len(found - lost)
        lacking = told["cases"] - reached - ended.total()
        numbers = (reached, ended["ended"], ended["failed"], lacking, told["cases"])
        rows.append([NAMES[model], *map(str, numbers), f"{told['seconds'].get(model, 0):.4g}"])
    titles = ["model", "reached the last step", "ended at a limit", "failed", "still to do"]
    titles += ["asked for", "computing time [s]"]
    return TextTable("Curves: one model along the path of one case", titles, rows)


def unreached_grids(study_result: StudyResult, *, failed_only: bool = False) -> list[TextTable]:
    """Return which curves did not reach their last step, failed ones first, and why."""
    entries = study_result.provenance["not_reached"]
    failed = [entry for entry in entries if entry["status"] == "failed"]
    others = [] if failed_only else [entry for entry in entries if entry not in failed]
    words = JobList.of(study_result.study).words if entries else {}
    rows = [
        [
            words.get(entry["case"], entry["case"]),
            NAMES[entry["model"]],
            "failed" if entry in failed else "ended at a limit",
            reason(restore(entry["termination"])),
        ]
        for entry in [*failed, *others]
    ]
    all_caption = "Curves that did not reach their last step, failed ones first"
    caption = "Curves that failed" if failed_only else all_caption
    return _first(caption, ["setting", "model", "how it ended", "why"], rows)


def unusable_grids(unusable: Iterable[tuple[Mapping[str, Any], str]]) -> list[TextTable]:
    """Return which settings make no case, and why."""
    rows = [
        [", ".join(f"{field} {value}" for field, value in setting.items()), why]
        for setting, why in unusable
    ]
    return _first("Settings that make no case", ["setting", "why"], rows)


def _first(caption: str, titles: list[str], rows: list[list[str]]) -> list[TextTable]:
    """Return a table of the first rows, with their number in its caption; none without rows."""
    more = f", {MOST} of {len(rows)}" if len(rows) > MOST else ""
    table = TextTable(f"{caption}{more}", titles, rows[:MOST], text_columns=range(len(titles)))
    return [table] if rows else []


def said(study_result: StudyResult) -> Iterator[str]:
    """Yield what is to be said of the run of a study beside its counts."""
    told = study_result.provenance
    if told.get("ended_early"):
        yield f"The run ended early: {told['ended_early']}; go on with --resume."
    for fault in told.get("not_in_batch", []):
        yield f"Solved one by one, not in a batch: {fault}."
    if others := told.get("curves_not_asked_for"):
        yield f"{others} curves in the results database are not part of the study; ignored."
