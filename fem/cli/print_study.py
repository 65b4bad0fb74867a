"""Terminal output of the command `study`: progress bars, then the outcome of its curves."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from rich.progress import TextColumn, TimeRemainingColumn
from rich.table import Table

from fem.report.ranges import range_tables
from fem.report.study_tables import (
    counts_table,
    invalid_setting_tables,
    not_reached_tables,
    run_notes,
)
from fem.study.estimate import Estimate
from fem.study.job_list import JobList
from fem.study.plot_data import plot_data
from fem.study.results_db import Curve
from fem.study.runner import Report
from fem.study.study_result import StudyResult
from fem.wording.comparison import count_text
from fem.wording.progress import Bars
from fem.wording.run_sections import NAMES
from fem.wording.terminal import print_files, print_table, rich_table, terminal
from fem.wording.termination import reason
from fem.wording.text_table import TextTable


@dataclass
class _Worker:
    """The number of curves that a worker has solved, how many failed, and the last one."""

    done: int = 0
    failed: int = 0
    seconds: float = 0.0
    last: str = ""

    def add(self, curve: Curve, setting: str) -> None:
        """Count a curve."""
        self.done += 1
        self.failed += curve.status == "failed"
        self.seconds += curve.seconds
        self.last = f"{NAMES[curve.model]}: {setting}"


def _worker_table(workers: Mapping[str, _Worker]) -> Table | None:
    """Return a line for each worker; None while no curve is done."""
    if not workers:
        return None
    rows = [
        [name, str(w.done), str(w.failed or ""), f"{w.seconds / w.done:.2g}", w.last]
        for name, w in workers.items()
    ]
    titles = ["worker", "done", "failed", "s per curve", "last curve"]
    return rich_table(TextTable("", titles, rows, text_columns=(0, 4)))


@contextmanager
def progress(job_list: JobList) -> Iterator[Report]:
    """Show bars on standard error; yield the function that moves them."""
    settings, workers = job_list.labels, defaultdict[str, _Worker](_Worker)
    unit = "done, {task.fields[failed]} failed, {task.remaining:.0f} left,"
    left = [TextColumn("elapsed,"), TimeRemainingColumn(), TextColumn("remaining")]
    counts, earlier = Counter(done=0, failed=0), True

    with Bars(unit, left, partial(_worker_table, workers)) as bars:

        def report(curves: Sequence[Curve]) -> None:
            nonlocal earlier
            failed = [curve for curve in curves if curve.status == "failed"]
            counts.update(done=len(curves), failed=len(failed))
            bars.report("curves", counts["done"], job_list.curves, failed=counts["failed"])
            if earlier:  # curves of an earlier run; the remaining time is estimated from here
                bars.reset(bars.task_ids[0], completed=counts["done"], failed=counts["failed"])
            else:
                for curve in curves:
                    worker = workers[f"{curve.host} {curve.worker}"]
                    worker.add(curve, settings[curve.case])
            earlier = False
            for curve in failed:
                text = f"{NAMES[curve.model]}, {settings[curve.case]}: {reason(curve.termination)}"
                bars.note(f"failed: {text}")

        yield report


def print_estimate(job_list: JobList, found: Sequence[Estimate], workers: int) -> None:
    """Print how many curves a study has, and the expected time and disk space."""
    console, study = terminal(), job_list.study
    console.print(study.title, style="bold")
    steps = sum(case.drive.steps for case in job_list.cases)
    console.print(
        f"{count_text(len(job_list.cases), 'case')}, {count_text(job_list.curves, 'curve')} "
        f"({', '.join(NAMES[model] for model in study.models)}), "
        f"{count_text(steps, 'step')} per model"
    )
    for part in found:
        console.print(
            f"{NAMES[part.model]}: about {_time(part.seconds / min(workers, part.workers))}, "
            f"{part.bytes / 1e6:.2g} MB (estimated from "
            f"{count_text(part.sample, 'curve')} solved now)"
        )
    count = count_text(workers, "worker")
    console.print(f"with {count}; start of the processes and pictures not included")
    for table in invalid_setting_tables(job_list.unusable):
        print_table(console, table)


def print_study_result(
    study_result: StudyResult, job_list: JobList, folder: Path, files: Sequence[str]
) -> None:
    """Print the outcome of the curves, the ranges of the values, failures, and the files."""
    console, data = terminal(), plot_data(study_result)
    console.print(study_result.study.title, style="bold")
    ranges = (
        range_tables(replace(data, axes=[])) if data else []
    )  # with the settings it is too wide
    failed = [
        *not_reached_tables(study_result, failed_only=True),
        *invalid_setting_tables(job_list.unusable),
    ]
    for table in [counts_table(study_result), *ranges, *failed]:
        print_table(console, table)
    for line in run_notes(study_result):
        console.print(line, soft_wrap=True)
    print_files(console, [folder / name for name in files])


def _time(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.2g} s"
    return f"{seconds / 60:.1f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"
