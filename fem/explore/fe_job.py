"""FE solves in processes of their own, while the bench goes on.

A worker process is started anew (spawn) by pebble, keeps warm what neighbouring cases share, and is
ended with its job when that is stopped. It tells its progress through two integers of shared
memory: no lock, so that a killed worker leaves none behind.
"""

from __future__ import annotations

import multiprocessing
import os
import secrets
import threading
from collections.abc import MutableSequence
from concurrent.futures import CancelledError, Future
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from itertools import count
from typing import Any, Literal

from fem.case.case import Case
from fem.continuation.load_steps import steps_of
from fem.core.cache import Chain
from fem.core.errors import InputError
from fem.core.processes import use_one_thread
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


class TooManySolvesError(Exception):
    """No more solves are taken now."""


class UnknownSolveError(KeyError):
    """There is no such solve, or none any more."""


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
        self._context = multiprocessing.get_context("spawn")
        self._progress = self._context.RawArray("i", PLACES)
        self._pool: Any = None

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
        self._jobs[name] = Job(tab, place, steps_of(case), self._hand_in(case, resolution, place))
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
        if self._pool is not None:
            _end(self._pool)
            self._pool = None

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

    def _hand_in(self, case: Case, resolution: str, place: int) -> Future[Result]:
        args = [without_friction(case), resolution, place]
        try:
            return self._started().schedule(perform, args=args)
        except RuntimeError:  # a worker that died with nothing in hand broke the pool
            threading.Thread(target=_end, args=[self._pool]).start()  # nobody waits for its end
            self._pool = None
            return self._started().schedule(perform, args=args)

    def _started(self) -> Any:
        """Return the workers, started when they are first needed."""
        if self._pool is None:
            from pebble import ProcessPool

            self._pool = ProcessPool(
                WORKERS, initializer=_begin, initargs=[self._progress], context=self._context
            )
        return self._pool


def _end(pool: Any) -> None:
    """End the processes of a pool; it takes up to some seconds."""
    pool.stop()
    pool.join()


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
    """Make a worker ready: where it tells its progress, and that it ends with its parent."""
    global _progress
    _progress = progress
    use_one_thread()
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """End this process as soon as its parent has ended, however that was."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _reason(future: Future[Result]) -> str:
    """Return why a solve failed, in one sentence; empty if it did not."""
    from pebble import ProcessExpired

    try:
        future.result()
    except InputError as error:
        return str(error)
    except ArithmeticError as error:
        return f"the case has no solution even at rest: {error}"
    except ProcessExpired as lost:
        return f"the process that solved it died (exit code {lost.exitcode}); try again"
    except (BrokenProcessPool, CancelledError):
        return "the process that solved it died; try again"
    except ImportError as error:
        return f"the FE model lacks what it stands on ({error}); see tubewright check-install"
    except Exception as error:  # a fault of ours, told in the page rather than in a stack trace
        return f"{type(error).__name__}: {error}"
    return ""
