"""Processes of this program: their threads for linear algebra, and a pool of worker processes."""

from __future__ import annotations

import multiprocessing
import os
import sys
import threading
from collections.abc import Callable
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from typing import Any, Self

SPAWN = multiprocessing.get_context("spawn")
"""How workers start: anew, for a copy of this process would share the state of its libraries."""


class WorkerLostError(Exception):
    """The process that had a task in hand died."""


def use_one_thread() -> None:
    """Let this process use one thread for linear algebra, unless its environment says otherwise.

    Matrices here are small or sparse, and studies run one process a core: several threads in one
    process only wait for each other, ten times slower where they do. For the command and its
    workers alone: in a process of a user the settings are the user's.
    """
    unset = {"OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"} - os.environ.keys()
    os.environ |= dict.fromkeys(unset, "1")  # for libraries that are loaded later
    if unset and "numpy" in sys.modules:
        from threadpoolctl import threadpool_limits

        threadpool_limits(limits=1)


def result_of[T](future: Future[T]) -> T:
    """Return what came of a task; whatever it raised is raised.

    Raises
    ------
    WorkerLostError
        If its process died.
    """
    from pebble import ProcessExpired

    try:
        return future.result()
    except ProcessExpired as lost:
        code = f"exit code {lost.exitcode}"
        raise WorkerLostError(f"the process that solved it died ({code})") from None
    except BrokenProcessPool:
        raise WorkerLostError("the process that solved it died") from None


class WorkerPool:
    """Worker processes of this machine, started with the first task.

    Each has one thread for linear algebra and ends with its parent, whatever ends that. A task that
    is cancelled ends with its process. A process that dies takes only its own task along.

    Parameters
    ----------
    workers
        Number of processes.
    initializer, initargs
        What each calls first; nothing by default.
    """

    def __init__(
        self, workers: int, initializer: Callable[..., None] | None = None, *initargs: Any
    ) -> None:
        self.size, self._begin = workers, (initializer, *initargs)
        self._pool: Any = None

    result = staticmethod(result_of)

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """End all processes."""
        self.close()

    def submit[T](self, work: Callable[..., T], *args: Any) -> Future[T]:
        """Hand in a task; :func:`result_of` returns what came of it."""
        try:
            return self._started().schedule(work, args=args)
        except RuntimeError:  # a worker that died without a task broke the pool
            threading.Thread(target=_end, args=[self._pool]).start()  # nobody waits for its end
            self._pool = None
            return self._started().schedule(work, args=args)

    def _started(self) -> Any:
        if self._pool is None:
            from pebble import ProcessPool

            self._pool = ProcessPool(
                self.size, initializer=_begin, initargs=self._begin, context=SPAWN
            )
        return self._pool

    def close(self) -> None:
        """End all processes, whatever they do; it takes up to some seconds."""
        if self._pool is not None:
            _end(self._pool)
            self._pool = None


def _end(pool: Any) -> None:
    pool.stop()
    pool.join()


def _begin(initializer: Callable[..., None] | None, *initargs: Any) -> None:
    """Make a worker ready."""
    use_one_thread()
    threading.Thread(target=_end_with_parent, daemon=True).start()
    if initializer is not None:
        initializer(*initargs)


def _end_with_parent() -> None:
    """End this process as soon as its parent has ended."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
