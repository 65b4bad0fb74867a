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
from fem.study.executor import Crew, CrewLostError
from fem.study.job_list import Agenda
from fem.study.results_db import Curve, Ledger, Status
from fem.study.study_result import Outcome, tabulate
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
    agenda: Agenda,
    folder: Path,
    crew: Crew,
    *,
    resume: bool = False,
    retry: bool = False,
    report: Report | None = None,
) -> Outcome:
    """Solve a study in `folder`, and return what came out.

    Parameters
    ----------
    agenda
        What is asked.
    folder
        Where the ledger is kept; it is made.
    crew
        Who does the work; started and stopped here.
    resume
        Go on with what the ledger lacks.
    retry
        Solve again what failed.
    report
        Called whenever curves are done, first with those that the ledger has.

    Raises
    ------
    InputError
        If the folder holds another run and it is not to be resumed, or cannot be.
    LedgerError
        If the ledger cannot be written any more; what it holds stays.
    """
    study = agenda.study
    folder.mkdir(parents=True, exist_ok=True)
    if contents(folder) is Contents.RESULT:
        raise InputError(f"{folder}: it holds the result of a case; take another folder (--out)")
    with Ledger(folder) as ledger:
        _check(ledger, agenda, folder, resume or retry)
        done = ledger.done(CLEANLY if retry else ANYHOW)
        asked = agenda.asked()
        if report:
            report([curve for curve in ledger.curves() if curve.key in asked & done])
        _begin(ledger)
        tasks = agenda.tasks(done, folder / SHAPES)
        ended = Shift(ledger, folder / SHAPES, crew, report).work(tasks)
        curves = [curve for curve in ledger.curves() if curve.key in asked]
        table = tabulate(study, agenda.cases, curves)
        told = {**_provenance(agenda, curves, ended), "sessions": ledger.fact("sessions")}
        told["curves_not_asked_for"] = ledger.count - len(curves)
    return Outcome(study, table, told)


def _check(ledger: Ledger, agenda: Agenda, folder: Path, resume: bool) -> None:
    """Raise unless the ledger is new, or of a run that may be resumed."""
    study = agenda.study
    there = ledger.done(ANYHOW)
    if there and not resume:
        raise InputError(
            f"{folder}: {ledger.count} curves of an earlier run are there; "
            "go on with --resume, or take another folder (--out)"
        )
    if there and there.isdisjoint(agenda.asked()):
        raise InputError(
            f'{folder}: the curves there are of another study, "{ledger.fact("title")}", or of an '
            "earlier version, which named cases otherwise; take another folder (--out)"
        )
    earlier = ledger.fact("resolution")
    if there and earlier != study.resolution:
        raise InputError(
            f'{folder}: the curves there are of resolution "{earlier}", the study asks for '
            f'"{study.resolution}"; take another folder (--out)'
        )
    ledger.note("resolution", study.resolution)
    ledger.note("title", study.title)


def _begin(ledger: Ledger) -> None:
    """Write down when this run began, and on what."""
    began = datetime.now(UTC).isoformat(timespec="seconds")
    session = {"began": began, "versions": versions(), "machine": machine()}
    ledger.note("sessions", [*(ledger.fact("sessions") or []), session])


class Shift:
    """Workers at the tasks of one run, and the ledger that their curves go to."""

    def __init__(self, ledger: Ledger, shapes: Path, crew: Crew, report: Report | None) -> None:
        self._ledger, self._shapes, self._crew, self._report = ledger, shapes, crew, report
        self._in_hand: dict[Future[list[Done]], Task] = {}

    def work(self, tasks: Iterator[Task]) -> str:
        """Perform the tasks; return why it ended before the last one, empty if it did not."""
        with self._crew:
            try:
                self._hand_in(islice(tasks, AHEAD * self._crew.size))
                while self._in_hand:
                    ready, _ = wait(self._in_hand, return_when=FIRST_COMPLETED)
                    for future in ready:
                        self._hand_in(self._take_up(future))
                        self._hand_in(islice(tasks, 1))
            except KeyboardInterrupt:
                return "interrupted"
            except CrewLostError as lost:
                return str(lost)
        return ""

    def _hand_in(self, tasks: Iterator[Task]) -> None:
        for task in tasks:
            self._in_hand[self._crew.submit(perform, task)] = task

    def _take_up(self, future: Future[list[Done]]) -> Iterator[Task]:
        """Write down what came of a task; return what is to be tried again."""
        task = self._in_hand.pop(future)
        try:
            found = self._crew.result(future)
        except WorkerLostError as lost:
            if task.tries < MOST_TRIES:
                return task.again()
            found = task.failed(f"its worker died, {task.tries} times: {lost}")
        for done in found:
            if done.result:
                done.result.save(self._shapes / done.curve.case)
        curves = [done.curve for done in found]
        self._ledger.add(curves)
        if self._report:
            self._report(curves)
        return iter(())


def _provenance(agenda: Agenda, curves: Sequence[Curve], ended: str) -> dict[str, Any]:
    """Return all that says where the figures came from, and what is lacking."""
    study = agenda.study
    return {
        "study": study.data,
        "study_hash": study.hash,
        "case": study.base.data,
        "case_hash": study.base.hash,
        "versions": versions(),
        "machine": machine(),
        "ended_early": ended,
        "cases": len(agenda.cases),
        "unusable": [{"setting": setting, "reason": why} for setting, why in agenda.unusable],
        "curves": {"asked": agenda.curves, **Counter(curve.status for curve in curves)},
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
