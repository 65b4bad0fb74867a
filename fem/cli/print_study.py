"""What a terminal shows of a study: bars while it runs, then how its curves went."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from rich.console import Console
from rich.progress import TextColumn, TimeRemainingColumn
from rich.table import Table

from fem.quantities.column import measures_of
from fem.results.termination import Termination, restore
from fem.study.estimate import Estimate
from fem.study.job_list import Agenda
from fem.study.results_db import Curve
from fem.study.runner import Report
from fem.study.study_result import Outcome
from fem.wording.progress import Bars
from fem.wording.run_sections import NAMES
from fem.wording.terminal import print_table, rich_table, terminal
from fem.wording.termination import reason
from fem.wording.text_table import TextTable

MOST_LINES = 20
"""So many faults are told one by one at the end; run.json has them all."""


class _Tally:
    """The workers so far, and how many curves each has done."""

    def __init__(self) -> None:
        self.done: Counter[str] = Counter()
        self.failed: Counter[str] = Counter()
        self.seconds: dict[str, float] = {}
        self.last: dict[str, str] = {}

    def add(self, curve: Curve, words: str) -> None:
        """Count a curve."""
        worker = f"{curve.host} {curve.worker}"
        self.done[worker] += 1
        self.failed[worker] += curve.status == "failed"
        self.seconds[worker] = self.seconds.get(worker, 0.0) + curve.seconds
        self.last[worker] = f"{NAMES[curve.model]}: {words}"

    def table(self) -> Table:
        """Return a line to each worker."""
        rows = [
            [
                worker,
                str(done),
                str(self.failed[worker] or ""),
                f"{self.seconds[worker] / done:.2g}",
                self.last[worker],
            ]
            for worker, done in self.done.items()
        ]
        titles = ["worker", "done", "failed", "s each", "last done"]
        return rich_table(TextTable("", titles, rows, words=(0, 4)))


@contextmanager
def progress(agenda: Agenda) -> Iterator[Report]:
    """Show bars on standard error; hand out the function that moves them."""
    words, tally = agenda.words, _Tally()
    unit = "done, {task.fields[failed]} failed, {task.remaining:.0f} to go,"
    left = [TextColumn("elapsed,"), TimeRemainingColumn(), TextColumn("remaining")]
    counts, earlier = Counter(done=0, failed=0), True

    with Bars(unit, left, tally.table) as bars:

        def report(curves: Sequence[Curve]) -> None:
            nonlocal earlier
            failed = [curve for curve in curves if curve.status == "failed"]
            counts.update(done=len(curves), failed=len(failed))
            bars.report("curves", counts["done"], agenda.curves, failed=counts["failed"])
            if earlier:  # what an earlier run did; the time left counts from here
                bars.reset(bars.task_ids[0], completed=counts["done"], failed=counts["failed"])
            else:
                for curve in curves:
                    tally.add(curve, words[curve.case])
            earlier = False
            for curve in failed:
                bars.note(_failure(words, curve.model, curve.case, curve.termination))

        yield report


def _failure(words: Mapping[str, str], model: str, case: str, end: Termination) -> str:
    """Return in one line which curve failed, and why."""
    return f"failed: {NAMES[model]}, {words[case]}: {reason(end)}"


def print_estimate(agenda: Agenda, found: Sequence[Estimate], workers: int) -> None:
    """Print how many curves a study has, and what they are expected to take."""
    console, study = terminal(), agenda.study
    console.print(study.title, style="bold")
    steps = sum(case.drive.steps for case in agenda.cases)
    console.print(
        f"{len(agenda.cases)} cases, {agenda.curves} curves "
        f"({', '.join(NAMES[model] for model in study.models)}), {steps} steps a model"
    )
    for part in found:
        console.print(
            f"{NAMES[part.model]}: about {_time(part.seconds / min(workers, part.workers))}, "
            f"{part.bytes / 1e6:.2g} MB (from {part.sample} of its curves, solved just now)"
        )
    console.print(f"with {workers} workers, beside the start of the processes and the pictures")
    _print_lines(console, [_unusable_line(setting, why) for setting, why in agenda.unusable])


def print_outcome(outcome: Outcome, agenda: Agenda, folder: Path, files: Sequence[str]) -> None:
    """Print how the curves went, what failed, and what was written."""
    console, told = terminal(), outcome.provenance
    console.print(outcome.study.title, style="bold")
    counts = told["curves"]
    lacking = counts["asked"] - sum(counts.get(way, 0) for way in ("reached", "ended", "failed"))
    console.print(
        f"{counts['asked']} curves: {counts.get('reached', 0)} reached the last step, "
        f"{counts.get('ended', 0)} ended at a limit before it, {counts.get('failed', 0)} failed"
        + (f", {lacking} are still to do" if lacking else "")
        + (f": {told['ended_early']}; go on with --resume" if told["ended_early"] else ""),
        soft_wrap=True,
    )
    if len(outcome.table):
        print_table(console, _ranges(outcome))
    words = agenda.words
    failed = [entry for entry in told["not_reached"] if entry["status"] == "failed"]
    lines = [
        _failure(words, entry["model"], entry["case"], restore(entry["termination"]))
        for entry in failed
    ]
    lines += [_unusable_line(entry["setting"], entry["reason"]) for entry in told["unusable"]]
    lines += [f"solved one by one, not in a batch: {fault}" for fault in told["not_in_batch"]]
    if others := told["curves_not_asked_for"]:
        lines.append(f"{others} curves in the ledger are not asked for now and left aside")
    _print_lines(console, lines)
    console.print(f"{folder}: {', '.join(sorted(files))}", soft_wrap=True, highlight=False)


def _print_lines(console: Console, lines: Sequence[str]) -> None:
    for line in lines[:MOST_LINES]:
        console.print(line, soft_wrap=True, highlight=False)
    if len(lines) > MOST_LINES:
        console.print(f"and {len(lines) - MOST_LINES} lines more, see run.json")


def _unusable_line(setting: Mapping[str, object], reason: str) -> str:
    told = ", ".join(f"{field} {value}" for field, value in setting.items())
    return f"no case: {told}: {reason}"


def _ranges(outcome: Outcome) -> TextTable:
    """Return the least and greatest twist, displacement and bulge by model."""
    shown, cells = measures_of(section="motion"), []
    for model in outcome.study.models:
        rows = outcome.of(model)
        if len(rows):
            known = [rows[measure.column] for measure in shown]
            ranges = [f"{_even(one.min())} to {_even(one.max())}" for one in known]
            cells.append([NAMES[model], *ranges])
    return TextTable("", ["model", *(measure.words for measure in shown)], cells)


def _even(value: float) -> str:
    """Return a figure to four digits, round-off beside it left out."""
    return f"{round(value, 6) + 0.0:.4g}"


def _time(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.2g} s"
    return f"{seconds / 60:.1f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"
