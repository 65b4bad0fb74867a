"""Solve a study: hand its curves to the workers, and write down each as it comes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import Any

from fem.core.errors import InputError
from fem.core.processes import WorkerLostError
from fem.results.environment import machine, versions
from fem.results.folder import Contents, contents
from fem.study.executor import Executor, NoWorkersError
from fem.study.job_list import JobList
from fem.study.results_db import Curve, ResultsDatabase, Status
from fem.study.study_result import StudyResult, tabulate
from fem.study.worker import NOT_IN_BATCH, Done, Task, perform

AHEAD = 2
"""Tasks in hand for each worker: the one at work and the next."""

MOST_TRIES = 2
"""A worker that dies costs a case one retry."""

CLEANLY: tuple[Status, ...] = ("reached", "ended")
ANYHOW: tuple[Status, ...] = (*CLEANLY, "failed")
"""Ways in which a curve is done."""

SHAPES = "shapes"
"""Folder of the results whose shapes are kept, a folder to each by the key of its case."""

Report = Callable[[Sequence[Curve]], None]
"""Is told the curves that are newly done."""


def run(
    job_list: JobList,
    folder: Path,
    executor: Executor,
    *,
    resume: bool = False,
    retry: bool = False,
    report: Report | None = None,
) -> StudyResult:
    """Solve a study in `folder`, and return what came out.

    Parameters
    ----------
    job_list
        What is asked.
    folder
        Where the results database is kept; it is made.
    executor
        Who does the work; started and stopped here.
    resume
        Go on with what the results database lacks.
    retry
        Solve again what failed.
    report
        Called whenever curves are done, first with those that the results database has.

    Raises
    ------
    InputError
        If the folder holds another run and it is not to be resumed, or cannot be.
    DatabaseWriteError
        If the results database cannot be written any more; what it holds stays.
    """
    study = job_list.study
    folder.mkdir(parents=True, exist_ok=True)
    if contents(folder) is Contents.RESULT:
        raise InputError(f"{folder}: it holds the result of a case; take another folder (--out)")
    with ResultsDatabase(folder) as database:
        _check(database, job_list, folder, resume or retry)
        done = database.done(CLEANLY if retry else ANYHOW)
        asked = job_list.asked()
        if report:
            report([curve for curve in database.curves() if curve.key in asked & done])
        _begin(database)
        tasks = job_list.tasks(done, folder / SHAPES)
        ended = Runner(database, folder / SHAPES, executor, report).work(tasks)
        curves = [curve for curve in database.curves() if curve.key in asked]
        table = tabulate(study, job_list.cases, curves)
        told = {**_provenance(job_list, curves, ended), "sessions": database.fact("sessions")}
        told["curves_not_asked_for"] = database.count - len(curves)
    return StudyResult(study, table, told)


def _check(database: ResultsDatabase, job_list: JobList, folder: Path, resume: bool) -> None:
    """Raise unless the results database is new, or of a run that may be resumed."""
    study = job_list.study
    there = database.done(ANYHOW)
    if there and not resume:
        raise InputError(
            f"{folder}: {database.count} curves of an earlier run are there; "
            "go on with --resume, or take another folder (--out)"
        )
    if there and there.isdisjoint(job_list.asked()):
        raise InputError(
            f"{folder}: its curves belong to another study, "
            f'"{database.fact("title")}", or to an earlier version, which had other keys of cases; '
            "take another folder (--out)"
        )
    earlier = database.fact("resolution")
    if there and earlier != study.resolution:
        raise InputError(
            f'{folder}: the curves there are of resolution "{earlier}", the study asks for '
            f'"{study.resolution}"; take another folder (--out)'
        )
    database.note("resolution", study.resolution)
    database.note("title", study.title)


def _begin(database: ResultsDatabase) -> None:
    """Write down when this run began, and on what."""
    began = datetime.now(UTC).isoformat(timespec="seconds")
    session = {"began": began, "versions": versions(), "machine": machine()}
    database.note("sessions", [*(database.fact("sessions") or []), session])


class Runner:
    """Gives the tasks of one run to an executor, and stores the solved curves."""

    def __init__(
        self, database: ResultsDatabase, shapes: Path, executor: Executor, report: Report | None
    ) -> None:
        self._database, self._shapes, self._executor, self._report = (
            database,
            shapes,
            executor,
            report,
        )
        self._in_hand: dict[Future[list[Done]], Task] = {}

    def work(self, tasks: Iterator[Task]) -> str:
        """Perform the tasks; return why it ended before the last one, empty if it did not."""
        with self._executor:
            try:
                self._hand_in(islice(tasks, AHEAD * self._executor.size))
                while self._in_hand:
                    ready, _ = wait(self._in_hand, return_when=FIRST_COMPLETED)
                    for future in ready:
                        self._hand_in(self._take_up(future))
                        self._hand_in(islice(tasks, 1))
            except KeyboardInterrupt:
                return "interrupted"
            except NoWorkersError as lost:
                return str(lost)
        return ""

    def _hand_in(self, tasks: Iterator[Task]) -> None:
        for task in tasks:
            self._in_hand[self._executor.submit(perform, task)] = task

    def _take_up(self, future: Future[list[Done]]) -> Iterator[Task]:
        """Write down what came of a task; return what is to be tried again."""
        task = self._in_hand.pop(future)
        try:
            found = self._executor.result(future)
        except WorkerLostError as lost:
            if task.tries < MOST_TRIES:
                return task.again()
            found = task.failed(f"its worker died, {task.tries} times: {lost}")
        for done in found:
            if done.result:
                done.result.save(self._shapes / done.curve.case)
        curves = [done.curve for done in found]
        self._database.add(curves)
        if self._report:
            self._report(curves)
        return iter(())


def _provenance(job_list: JobList, curves: Sequence[Curve], ended: str) -> dict[str, Any]:
    """Return all that says where the figures came from, and what is lacking."""
    study = job_list.study
    return {
        "study": study.data,
        "study_hash": study.hash,
        "case": study.base.data,
        "case_hash": study.base.hash,
        "versions": versions(),
        "machine": machine(),
        "ended_early": ended,
        "cases": len(job_list.cases),
        "unusable": [{"setting": setting, "reason": why} for setting, why in job_list.unusable],
        "curves": {"asked": job_list.curves, **Counter(curve.status for curve in curves)},
        "not_in_batch": sorted(
            {fault for curve in curves if (fault := curve.details.get(NOT_IN_BATCH))}
        ),
        "seconds": {
            model: round(sum(curve.seconds for curve in curves if curve.model == model), 3)
            for model in study.models
        },
        "not_reached": [
            {"case": curve.case, "model": curve.model, "status": curve.status}
            | {"termination": curve.termination.data(), "tries": curve.tries}
            for curve in curves
            if curve.status != "reached"
        ],
    }
