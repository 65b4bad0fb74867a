"""FE solves in worker processes, while the live explorer goes on.

A worker keeps what neighbouring cases share. It writes its progress to an integer of shared memory
without a lock, which a worker that is killed could not release.
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
from fem.core.cache import Chain
from fem.core.errors import InputError
from fem.core.processes import SPAWN, WorkerLostError, WorkerPool, result_of
from fem.results.result import Result
from fem.solving.single import solve

WORKERS = 2
"""Solves at a time; the rest wait."""
MOST = 4
"""Solves that run or wait."""
KEPT = 8
"""Solves that are known once they have ended; a result takes some megabytes."""
PLACES = 64
"""Places for progress, taken in turn: a worker that is being stopped may still write to its own."""

CHAIN = Chain()
"""Hands on from solve to solve, in one worker, what neighbours share."""

_progress: MutableSequence[int]


class TooManySolvesError(InputError):
    """No more solves are taken now."""


class UnknownSolveError(LookupError):
    """There is no such solve, or it is not done, or no longer kept."""

    def __str__(self) -> str:
        """Return this in one sentence."""
        return "there is no such solve, or it is not done, or no longer kept"


@dataclass(frozen=True)
class Job:
    """A solve that was begun: which tab asked for it, where it tells its progress."""

    tab: str
    place: int
    steps: int
    future: Future[Result]


@dataclass(frozen=True)
class Progress:
    """How far a solve has come.

    Attributes
    ----------
    state
        ``"running"``, also while it waits for its turn, ``"done"``, ``"failed"`` or ``"stopped"``.
    done, steps
        Steps done and steps in all.
    reason
        Why it failed, or that it waits; else empty.
    """

    state: Literal["running", "done", "failed", "stopped"]
    done: int
    steps: int
    reason: str = ""


class Jobs:
    """FE solves of one server; called from one thread."""

    def __init__(self) -> None:
        self._jobs: dict[str, Job] = {}
        self._places = count()
        self._progress = SPAWN.RawArray("i", PLACES)
        self._pool = WorkerPool(WORKERS, _begin, self._progress)

    def start(self, case: Case, resolution: str, tab: str = "") -> str:
        """Begin to solve a case, and return the name of the solve.

        An earlier solve of the same `tab` that still runs is stopped; without a name, none is.

        Raises
        ------
        TooManySolvesError
            If too many run or wait already.
        """
        mine = [job for job in self._open() if tab and job.tab == tab]
        if len(self._open()) - len(mine) >= MOST:
            raise TooManySolvesError(f"{MOST} FE solves run or wait already; stop one, or wait")
        for job in mine:
            job.future.cancel()
        place = next(self._places) % PLACES
        self._progress[place] = 0
        name = secrets.token_hex(8)
        future = self._pool.submit(perform, without_friction(case), resolution, place)
        self._jobs[name] = Job(tab, place, steps_of(case), future)
        self._forget()
        return name

    def progress(self, name: str) -> Progress:
        """Return how far a solve has come.

        Raises
        ------
        UnknownSolveError
            If there is no such solve.
        """
        job = self._job(name)
        done, future = self._progress[job.place], job.future
        if future.cancelled():
            return Progress("stopped", done, job.steps)
        if not future.done():
            waits = "" if future.running() else "waits for its turn"
            return Progress("running", done, job.steps, waits)
        reason = _reason(future)
        return Progress("failed" if reason else "done", done, job.steps, reason)

    def result(self, name: str) -> Result:
        """Return what came of a solve that is done.

        Raises
        ------
        UnknownSolveError
            If there is no such solve, or it is not done.
        """
        if self.progress(name).state != "done":
            raise UnknownSolveError(name)
        return self._job(name).future.result()

    def stop(self, name: str) -> None:
        """Stop a solve and end its process; one that has ended is left as it is.

        Raises
        ------
        UnknownSolveError
            If there is no such solve.
        """
        self._job(name).future.cancel()

    def close(self) -> None:
        """End all processes; it takes up to some seconds."""
        self._pool.close()

    def _job(self, name: str) -> Job:
        try:
            return self._jobs[name]
        except KeyError:
            raise UnknownSolveError(name) from None

    def _open(self) -> list[Job]:
        return [job for job in self._jobs.values() if not job.future.done()]

    def _forget(self) -> None:
        """Forget the oldest of those that have ended."""
        ended = [name for name, job in self._jobs.items() if job.future.done()]
        for name in ended[:-KEPT]:
            del self._jobs[name]


def without_friction(case: Case) -> Case:
    """Return the case with threads that glide without friction: the bench asks for one solve."""
    rough = [k for k, family in enumerate(case.threads) if family.friction is not None]
    return case.changed(**{f"threads__{k}__friction": None for k in rough})


def perform(case: Case, resolution: str, place: int) -> Result:
    """Solve a case in a worker."""

    def report(_: str, done: int, __: int) -> None:
        _progress[place] = done

    return solve(case, "fe", resolution, report=report, chain=CHAIN)


def _begin(progress: MutableSequence[int]) -> None:
    """Let a worker know where to write its progress."""
    global _progress
    _progress = progress


def _reason(future: Future[Result]) -> str:
    """Return why a solve failed, in one sentence; empty if it did not."""
    try:
        result_of(future)
    except InputError as error:
        return str(error)
    except ArithmeticError as error:
        return f"the case has no solution even at rest: {error}"
    except WorkerLostError as lost:
        return f"{lost}; try again"
    except ImportError as error:
        return f"the FE model lacks what it stands on ({error}); see tubewright check-install"
    except Exception as error:  # a fault of ours, told in the page rather than in a stack trace
        return f"{type(error).__name__}: {error}"
    return ""
