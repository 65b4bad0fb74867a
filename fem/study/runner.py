"""Solve a study: submit its tasks to the executor, and store each solved curve."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import Any

from fem.core.errors import InputError
from fem.core.processes import WorkerLostError, WorkerPool
from fem.results.environment import machine, versions
from fem.results.folder import Contents, contents
from fem.study.executor import Executor, NoWorkersError
from fem.study.job_list import JobList
from fem.study.plan import Study
from fem.study.results_db import Curve, ResultsDatabase, Status
from fem.study.study_result import StudyResult, tabulate
from fem.study.worker import BATCH_ERROR, SolvedCurve, Task, solve_task

TASKS_PER_WORKER = 2
"""Submitted tasks per worker: the running one and the next."""

MAX_TRIES = 2
"""Greatest number of attempts of a case whose worker dies."""

SOLVED: tuple[Status, ...] = ("reached", "ended")
TRIED: tuple[Status, ...] = (*SOLVED, "failed")
"""Statuses of the curves that are not solved again, with --retry and without."""

SHAPES = "shapes"
"""Folder of the results whose shapes are kept: one folder per case, named by its key."""

Report = Callable[[Sequence[Curve]], None]
"""Called with the curves that were solved since the last call."""


def solve_study(
    study: Study,
    folder: str | Path,
    *,
    workers: int = 2,
    resume: bool = False,
    retry: bool = False,
) -> StudyResult:
    """Solve a study by processes of this machine, and save its table in a folder.

    In a script, call it below ``if __name__ == "__main__":``, because the processes import the
    script.

    Parameters
    ----------
    study
        The study.
    folder
        Folder to write to; it is made if needed.
    workers
        Number of processes, each with one thread for linear algebra.
    resume
        Continue with what an earlier run in the folder has not solved.
    retry
        Continue, and solve again what failed.

    Returns
    -------
    StudyResult
        The table, and which curves did not reach their last step.

    Raises
    ------
    InputError
        If the study cannot be solved, or the folder contains something else.
    OSError
        If the folder cannot be written; what is solved by then is kept.

    Examples
    --------
    >>> study_result = solve_study(study, "reach", resume=True)
    """
    folder = Path(folder)
    executor = WorkerPool(workers)
    study_result = run(JobList.of(study), folder, executor, resume=resume, retry=retry)
    study_result.save(folder)
    return study_result


def run(
    job_list: JobList,
    folder: Path,
    executor: Executor,
    *,
    resume: bool = False,
    retry: bool = False,
    report: Report | None = None,
) -> StudyResult:
    """Solve a study in `folder`, and return its result.

    Parameters
    ----------
    job_list
        The cases of the study.
    folder
        Folder of the results database; created if needed.
    executor
        Executes the tasks; it is started and stopped here.
    resume
        Continue an earlier run: solve the curves that the database does not have.
    retry
        Solve the failed curves again.
    report
        Called when curves are solved, first with those in the database.

    Raises
    ------
    InputError
        If the folder contains an earlier run that is not to be resumed, or cannot be resumed.
    DatabaseWriteError
        If the database cannot be written; its contents stay.
    """
    study = job_list.study
    folder.mkdir(parents=True, exist_ok=True)
    if contents(folder) is Contents.RESULT:
        raise InputError(f"{folder}: contains the result of a case; choose another folder (--out)")
    with ResultsDatabase(folder) as database:
        _check(database, job_list, folder, resume or retry)
        done = database.keys(SOLVED if retry else TRIED)
        requested = job_list.keys()
        if report:
            report([curve for curve in database.curves() if curve.key in requested & done])
        _add_session(database)
        tasks = job_list.tasks(done, folder / SHAPES)
        ended = Runner(database, folder / SHAPES, executor, report).run(tasks)
        curves = [curve for curve in database.curves() if curve.key in requested]
        table = tabulate(study, job_list.cases, curves)
        record = {**_run_record(job_list, curves, ended), "sessions": database.fact("sessions")}
        record["other_curves"] = database.count - len(curves)
    return StudyResult(study, table, record)


def _check(database: ResultsDatabase, job_list: JobList, folder: Path, resume: bool) -> None:
    """Raise unless the database is empty, or of a run that may be resumed."""
    study = job_list.study
    stored = database.keys(TRIED)
    if stored and not resume:
        raise InputError(
            f"{folder}: contains {database.count} curves of an earlier run; "
            "continue it (--resume, in Python resume=True), or choose another folder (--out)"
        )
    if stored and stored.isdisjoint(job_list.keys()):
        raise InputError(
            f"{folder}: its curves belong to another study, "
            f'"{database.fact("title")}", or to an earlier version; '
            "choose another folder (--out)"
        )
    earlier = database.fact("resolution")
    if stored and earlier != study.resolution:
        raise InputError(
            f'{folder}: its curves have the resolution "{earlier}", the study has '
            f'"{study.resolution}"; choose another folder (--out)'
        )
    database.set_fact("resolution", study.resolution)
    database.set_fact("title", study.title)


def _add_session(database: ResultsDatabase) -> None:
    """Store the start time and the environment of this run."""
    began = datetime.now(UTC).isoformat(timespec="seconds")
    session = {"began": began, "versions": versions(), "machine": machine()}
    database.set_fact("sessions", [*(database.fact("sessions") or []), session])


class Runner:
    """Submits the tasks of one run to an executor, and stores the solved curves."""

    def __init__(
        self, database: ResultsDatabase, shapes: Path, executor: Executor, report: Report | None
    ) -> None:
        self._database, self._shapes, self._executor, self._report = (
            database,
            shapes,
            executor,
            report,
        )
        self._running: dict[Future[list[SolvedCurve]], Task] = {}

    def run(self, tasks: Iterator[Task]) -> str:
        """Run the tasks; return why it stopped before the last one, empty if it did not."""
        with self._executor:
            try:
                self._submit(islice(tasks, TASKS_PER_WORKER * self._executor.size))
                while self._running:
                    ready, _ = wait(self._running, return_when=FIRST_COMPLETED)
                    for future in ready:
                        self._submit(self._collect(future))
                        self._submit(islice(tasks, 1))
            except KeyboardInterrupt:
                return "interrupted"
            except NoWorkersError as lost:
                return str(lost)
        return ""

    def _submit(self, tasks: Iterator[Task]) -> None:
        for task in tasks:
            self._running[self._executor.submit(solve_task, task)] = task

    def _collect(self, future: Future[list[SolvedCurve]]) -> Iterator[Task]:
        """Store the curves of a task; return the tasks that are to be tried again."""
        task = self._running.pop(future)
        try:
            solved = self._executor.result(future)
        except WorkerLostError as lost:
            if task.tries < MAX_TRIES:
                return task.split()
            solved = task.failed(f"its worker died {task.tries} times: {lost}")
        for one in solved:
            if one.result:
                one.result.save(self._shapes / one.curve.case)
        curves = [one.curve for one in solved]
        self._database.add(curves)
        if self._report:
            self._report(curves)
        return iter(())


def _run_record(job_list: JobList, curves: Sequence[Curve], ended: str) -> dict[str, Any]:
    """Return the data of run.json: study, environment, counts, and curves that ended early."""
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
        "curves": {"requested": job_list.curves, **Counter(curve.status for curve in curves)},
        "batch_errors": sorted(
            {error for curve in curves if (error := curve.details.get(BATCH_ERROR))}
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
