"""FE solves in worker processes, while the live explorer stays responsive.

A worker caches the meshes that successive cases share. It writes its progress to an integer in
shared memory without a lock, because a killed worker could not release one.
"""

from __future__ import annotations

import secrets
from collections.abc import MutableSequence
from concurrent.futures import Future
from dataclasses import dataclass
from itertools import count
from typing import Literal

from fem.case.case import Case
from fem.continuation.load_steps import steps_of
from fem.core.cache import MeshCache
from fem.core.errors import InputError
from fem.core.processes import SPAWN, WorkerLostError, WorkerPool, result_of
from fem.results.result import Result
from fem.solving.single import solve

WORKERS = 2
"""Number of solves that run at the same time; others wait."""
MAX_SOLVES = 4
"""Greatest number of solves that run or wait."""
MAX_ENDED = 8
"""Number of ended solves that are kept; a result takes a few megabytes."""
PROGRESS_SLOTS = 64
"""Integers for progress, used in turn: a worker that is being stopped may still write to one."""

MESH_CACHE = MeshCache()
"""Meshes that successive solves of one worker share."""

_progress: MutableSequence[int]


class TooManySolvesError(InputError):
    """Too many solves run or wait."""


class UnknownSolveError(LookupError):
    """There is no such solve, it is not done, or its result is no longer kept."""

    def __str__(self) -> str:
        """Return the message."""
        return "there is no such solve, it is not done, or its result is no longer kept"


@dataclass(frozen=True)
class Job:
    """A solve: the browser tab that started it, and its slot for the progress."""

    tab: str
    slot: int
    steps: int
    future: Future[Result]


@dataclass(frozen=True)
class Progress:
    """State and progress of a solve.

    Attributes
    ----------
    state
        ``"running"``, also while it is queued, ``"done"``, ``"failed"`` or ``"stopped"``.
    done, steps
        Steps done, and total number of steps.
    reason
        Why it failed, or ``"queued"``; else empty.
    """

    state: Literal["running", "done", "failed", "stopped"]
    done: int
    steps: int
    reason: str = ""


class Jobs:
    """FE solves of one server; called from one thread."""

    def __init__(self) -> None:
        self._jobs: dict[str, Job] = {}
        self._slots = count()
        self._progress = SPAWN.RawArray("i", PROGRESS_SLOTS)
        self._pool = WorkerPool(WORKERS, _begin, self._progress)

    def start(self, case: Case, resolution: str, tab: str = "") -> str:
        """Start to solve a case, and return the name of the solve.

        An earlier solve of the same `tab` that still runs is stopped, unless `tab` is empty.

        Raises
        ------
        TooManySolvesError
            If too many solves run or wait.
        """
        earlier = [job for job in self._open() if tab and job.tab == tab]
        if len(self._open()) - len(earlier) >= MAX_SOLVES:
            raise TooManySolvesError(
                f"{MAX_SOLVES} FE solves are running or queued; stop one, or wait"
            )
        for job in earlier:
            job.future.cancel()
        slot = next(self._slots) % PROGRESS_SLOTS
        self._progress[slot] = 0
        name = secrets.token_hex(8)
        future = self._pool.submit(solve_job, without_friction(case), resolution, slot)
        self._jobs[name] = Job(tab, slot, steps_of(case), future)
        self._remove_oldest()
        return name

    def progress(self, name: str) -> Progress:
        """Return the progress of a solve.

        Raises
        ------
        UnknownSolveError
            If there is no such solve.
        """
        job = self._job(name)
        done, future = self._progress[job.slot], job.future
        if future.cancelled():
            return Progress("stopped", done, job.steps)
        if not future.done():
            queued = "" if future.running() else "queued"
            return Progress("running", done, job.steps, queued)
        reason = _reason(future)
        return Progress("failed" if reason else "done", done, job.steps, reason)

    def result(self, name: str) -> Result:
        """Return the result of a solve that is done.

        Raises
        ------
        UnknownSolveError
            If there is no such solve, or it is not done.
        """
        if self.progress(name).state != "done":
            raise UnknownSolveError(name)
        return self._job(name).future.result()

    def stop(self, name: str) -> None:
        """Stop a solve and end its process; an ended solve stays as it is.

        Raises
        ------
        UnknownSolveError
            If there is no such solve.
        """
        self._job(name).future.cancel()

    def close(self) -> None:
        """End all processes; this takes up to a few seconds."""
        self._pool.close()

    def _job(self, name: str) -> Job:
        try:
            return self._jobs[name]
        except KeyError:
            raise UnknownSolveError(name) from None

    def _open(self) -> list[Job]:
        return [job for job in self._jobs.values() if not job.future.done()]

    def _remove_oldest(self) -> None:
        """Remove the oldest ended solves beyond the number that is kept."""
        ended = [name for name, job in self._jobs.items() if job.future.done()]
        for name in ended[:-MAX_ENDED]:
            del self._jobs[name]


def without_friction(case: Case) -> Case:
    """Return the case with threads that slide without friction, which needs one solve only."""
    numbers = [k for k, family in enumerate(case.threads) if family.friction is not None]
    return case.changed(**{f"threads__{k}__friction": None for k in numbers})


def solve_job(case: Case, resolution: str, slot: int) -> Result:
    """Solve a case in a worker."""

    def report(_: str, done: int, __: int) -> None:
        _progress[slot] = done

    return solve(case, "fe", resolution, report=report, mesh_cache=MESH_CACHE)


def _begin(progress: MutableSequence[int]) -> None:
    """Set the array to which a worker writes its progress."""
    global _progress
    _progress = progress


def _reason(future: Future[Result]) -> str:
    """Return why a solve failed, in one sentence; empty if it did not fail."""
    try:
        result_of(future)
    except InputError as error:
        return str(error)
    except ArithmeticError as error:
        return f"the case has no solution even at rest: {error}"
    except WorkerLostError as lost:
        return f"{lost}; try again"
    except ImportError as error:
        return (
            f"a package that the FE model needs is missing ({error}); see tubewright check-install"
        )
    except Exception as error:  # an error of the program: the page shows it
        return f"{type(error).__name__}: {error}"
    return ""
