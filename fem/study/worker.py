"""The work of a worker: solve the cases of a task; errors are recorded in the curves."""

from __future__ import annotations

import os
import platform
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Self

from fem.case.case import Case
from fem.continuation.termination import TerminationKind
from fem.core.cache import MeshCache
from fem.results.result import Result
from fem.results.run import Run
from fem.results.termination import Termination
from fem.solving.single import solve
from fem.study.results_db import Curve, Status

MESH_CACHE = MeshCache()
"""Meshes that successive cases of one worker share."""

BATCH_ERROR = "batch_error"
"""Detail of a curve: the error that occurred when its batch was solved together."""


@dataclass(frozen=True)
class Task:
    """Cases that one worker solves together, by one model.

    Attributes
    ----------
    model
        ``"fe"`` or ``"fast"``.
    cases
        The cases.
    resolution
        Mesh of the FE model.
    shapes
        Whether to keep the shapes.
    tries
        Number of attempts, this one included.
    """

    model: str
    cases: tuple[Case, ...]
    resolution: str
    shapes: bool = False
    tries: int = 1

    def split(self) -> Iterator[Self]:
        """Yield a task for each case, for a second attempt: one case may be the cause."""
        for case in self.cases:
            yield replace(self, cases=(case,), tries=self.tries + 1)

    def failed(self, reason: str) -> list[SolvedCurve]:
        """Return all curves of the task as failed."""
        end = Termination.failed(TerminationKind.ERROR, reason)
        return [SolvedCurve(_failed(case, self, end)) for case in self.cases]


@dataclass(frozen=True)
class SolvedCurve:
    """A solved curve, with its result if the shapes are kept."""

    curve: Curve
    result: Result | None = None


def solve_task(task: Task) -> list[SolvedCurve]:
    """Solve the cases of a task; an error of a case is recorded in its curve."""
    if task.model == "fast" and len(task.cases) > 1:
        try:
            return _solve_batch(task)
        except Exception as error:  # one case is the cause: solve them one by one, and record it
            text = f"{type(error).__name__}: {error}"
            return [_with_batch_error(_solve_one(case, task), text) for case in task.cases]
    return [_solve_one(case, task) for case in task.cases]


def _with_batch_error(solved: SolvedCurve, error: str) -> SolvedCurve:
    """Return a solved curve with the error of its batch."""
    details = solved.curve.details | {BATCH_ERROR: error}
    return replace(solved, curve=replace(solved.curve, details=details))


def _solve_batch(task: Task) -> list[SolvedCurve]:
    from fem.solving.batch import solve_batch

    return [
        SolvedCurve(_curve_of(case, task, run))
        for case, run in zip(task.cases, solve_batch(task.cases), strict=True)
    ]


def _solve_one(case: Case, task: Task) -> SolvedCurve:
    began = time.perf_counter()
    try:
        result = solve(case, task.model, task.resolution, mesh_cache=MESH_CACHE)
    except ArithmeticError as error:
        end = Termination.failed(TerminationKind.NO_REST, error)
    except Exception as error:  # an error in the program must not stop the other cases
        end = Termination.failed(TerminationKind.ERROR, f"{type(error).__name__}: {error}")
    else:
        (run,) = result.runs
        return SolvedCurve(_curve_of(case, task, run), result if task.shapes else None)
    return SolvedCurve(_failed(case, task, end, time.perf_counter() - began))


def _curve_of(case: Case, task: Task, run: Run) -> Curve:
    """Return the curve of a run."""
    names = dict.fromkeys(name for row in run.rows for name in row)
    return replace(
        _failed(case, task, run.termination, run.seconds),
        status=_status(run),
        steps={name: [row.get(name) for row in run.rows] for name in names},
        details={"mesh": run.mesh, "balance": run.balance},
    )


def _status(run: Run) -> Status:
    if run.reached:
        return "reached"
    return "failed" if run.termination.unresolved else "ended"


def _failed(case: Case, task: Task, end: Termination, seconds: float = 0.0) -> Curve:
    """Return a failed curve, without steps."""
    return Curve(
        case=case.key,
        model=task.model,
        status="failed",
        termination=end,
        seconds=seconds,
        host=platform.node(),
        worker=os.getpid(),
        tries=task.tries,
    )
