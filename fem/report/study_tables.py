"""Tables and notes of a study: what it varies, the outcome of its curves, and failures."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from fem.results.termination import restore
from fem.study.job_list import JobList
from fem.study.plan import Study
from fem.study.study_result import StudyResult
from fem.study.vary import Vary
from fem.wording.comparison import count_text
from fem.wording.run_sections import NAMES
from fem.wording.termination import reason
from fem.wording.text_table import TextTable

MAX_ROWS = 30
"""Maximum number of curves or settings in a table."""


def vary_table(study: Study) -> TextTable:
    """Return what varies, one row per table [[vary]], and what is set for all cases."""
    rows = [[_fields(vary), *_values(study, vary)] for vary in study.vary]
    rows += [[field, str(value), "1, for all cases"] for field, value in study.set.items()]
    return TextTable(
        "Fields of the case", ["field", "values", "number of values"], rows, text_columns=(0, 1, 2)
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


def counts_table(study_result: StudyResult) -> TextTable:
    """Return the number of curves of each model by outcome."""
    record = study_result.run_record
    rows = []
    for model in study_result.study.models:
        ended = Counter(e["status"] for e in record["not_reached"] if e["model"] == model)
        lost = {e["case"] for e in record["not_reached"] if e["model"] == model}
        found = set(study_result.table.case[study_result.table.model == model])
        reached = len(found - lost)
        missing = record["cases"] - reached - ended.total()
        numbers = (reached, ended["ended"], ended["failed"], missing, record["cases"])
        rows.append([NAMES[model], *map(str, numbers), f"{record['seconds'].get(model, 0):.4g}"])
    titles = ["model", "reached the last step", "ended at a limit", "failed", "not solved yet"]
    titles += ["total", "computing time [s]"]
    return TextTable("Curves (one curve: one model, one case)", titles, rows)


def not_reached_tables(study_result: StudyResult, *, failed_only: bool = False) -> list[TextTable]:
    """Return the curves that did not reach their last step, failed ones first, with reasons."""
    entries = study_result.run_record["not_reached"]
    failed = [entry for entry in entries if entry["status"] == "failed"]
    others = [] if failed_only else [entry for entry in entries if entry not in failed]
    labels = JobList.of(study_result.study).labels if entries else {}
    rows = [
        [
            labels.get(entry["case"], entry["case"]),
            NAMES[entry["model"]],
            "failed" if entry in failed else "ended at a limit",
            reason(restore(entry["termination"])),
        ]
        for entry in [*failed, *others]
    ]
    all_caption = "Curves that did not reach their last step, failed ones first"
    caption = "Curves that failed" if failed_only else all_caption
    return _first(caption, ["setting", "model", "outcome", "reason"], rows)


def invalid_setting_tables(unusable: Iterable[tuple[Mapping[str, Any], str]]) -> list[TextTable]:
    """Return the settings that are not valid cases, with reasons."""
    rows = [
        [", ".join(f"{field} {value}" for field, value in setting.items()), reason]
        for setting, reason in unusable
    ]
    return _first("Invalid settings", ["setting", "reason"], rows)


def _first(caption: str, titles: list[str], rows: list[list[str]]) -> list[TextTable]:
    """Return a table of the first rows, with their number in the caption; none without rows."""
    more = f", {MAX_ROWS} of {len(rows)}" if len(rows) > MAX_ROWS else ""
    table = TextTable(f"{caption}{more}", titles, rows[:MAX_ROWS], text_columns=range(len(titles)))
    return [table] if rows else []


def run_notes(study_result: StudyResult) -> Iterator[str]:
    """Yield notes on the run of a study."""
    record = study_result.run_record
    if record.get("ended_early"):
        yield f"The run ended early: {record['ended_early']}; continue with --resume."
    for fault in record.get("batch_errors", []):
        yield f"Solved one by one, not in a batch: {fault}."
    if others := record.get("other_curves"):
        stored = count_text(others, "curve")
        yield f"{stored} in the results database, ignored: not part of the study."
