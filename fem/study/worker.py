"""What a worker does: solve the cases of one task, and say how each went."""

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
"""Hands on from case to case, in one worker, what neighbours share."""

NOT_IN_BATCH = "not_in_batch"
"""Among the details of a curve: what went wrong when its batch was solved together."""


@dataclass(frozen=True)
class Task:
    """Cases that one worker solves in one go, by one model.

    Attributes
    ----------
    model
        ``"fe"`` or ``"fast"``.
    cases
        The cases.
    resolution
        Mesh of the FE model.
    shapes
        Whether the shapes are wanted too.
    tries
        How often it is begun, this time included.
    """

    model: str
    cases: tuple[Case, ...]
    resolution: str
    shapes: bool = False
    tries: int = 1

    def again(self) -> Iterator[Self]:
        """Yield a task to each case, for a second try: one of them may be what went wrong."""
        for case in self.cases:
            yield replace(self, cases=(case,), tries=self.tries + 1)

    def failed(self, reason: str) -> list[Done]:
        """Return all its curves as failed."""
        end = Termination.failed(TerminationKind.ERROR, reason)
        return [Done(_failed(case, self, end)) for case in self.cases]


@dataclass(frozen=True)
class Done:
    """A curve that is done, and its result where the shapes are wanted."""

    curve: Curve
    result: Result | None = None


def perform(task: Task) -> list[Done]:
    """Solve the cases of a task; whatever goes wrong with one stands in its curve."""
    if task.model == "fast" and len(task.cases) > 1:
        try:
            return _solve_batch(task)
        except Exception as error:  # one case spoils it for all: find it one by one, and say so
            fault = f"{type(error).__name__}: {error}"
            return [_noted(_solve_one(case, task), fault) for case in task.cases]
    return [_solve_one(case, task) for case in task.cases]


def _noted(done: Done, fault: str) -> Done:
    """Return what is done with a note of why it was not done in a batch."""
    details = done.curve.details | {NOT_IN_BATCH: fault}
    return replace(done, curve=replace(done.curve, details=details))


def _solve_batch(task: Task) -> list[Done]:
    from fem.solving.batch import solve_batch

    return [
        Done(_followed(case, task, run))
        for case, run in zip(task.cases, solve_batch(task.cases), strict=True)
    ]


def _solve_one(case: Case, task: Task) -> Done:
    began = time.perf_counter()
    try:
        result = solve(case, task.model, task.resolution, mesh_cache=MESH_CACHE)
    except ArithmeticError as error:
        end = Termination.failed(TerminationKind.NO_REST, error)
    except Exception as error:  # a fault of ours must not stop the others
        end = Termination.failed(TerminationKind.ERROR, f"{type(error).__name__}: {error}")
    else:
        (run,) = result.runs
        return Done(_followed(case, task, run), result if task.shapes else None)
    return Done(_failed(case, task, end, time.perf_counter() - began))


def _followed(case: Case, task: Task, run: Run) -> Curve:
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
    """Return a curve of which nothing is known but how it was tried."""
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
