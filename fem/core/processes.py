"""Worker processes, and the number of threads for linear algebra in a process."""

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
"""How workers start: a fork would share the state of the libraries of this process."""


class WorkerLostError(Exception):
    """The process that worked on a task died."""


def use_one_thread() -> None:
    """Use one thread for linear algebra in this process, unless its environment sets a number.

    Matrices here are small or sparse, and studies run one process per core: several threads in a
    process wait for each other, and can make it ten times slower. Only the command and its workers
    call this: in a process of the user the settings are the user's.
    """
    unset = {"OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"} - os.environ.keys()
    os.environ |= dict.fromkeys(unset, "1")  # for libraries that are loaded later
    if unset and "numpy" in sys.modules:
        from threadpoolctl import threadpool_limits

        threadpool_limits(limits=1)


def result_of[T](future: Future[T]) -> T:
    """Return the result of a task, or raise its exception.

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

    Each has one thread for linear algebra and ends when its parent ends, for any reason. Cancelling
    a task ends its process. If a process dies, only its own task is lost.

    Parameters
    ----------
    workers
        Number of processes.
    initializer, initargs
        Function that each process calls first, and its arguments; None by default.
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
        """Submit a task; :func:`result_of` returns its result."""
        try:
            return self._started().schedule(work, args=args)
        except RuntimeError:  # a worker that died without a task broke the pool
            threading.Thread(target=_end, args=[self._pool]).start()  # in the background
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
        """End all processes, busy ones too; this may take some seconds."""
        if self._pool is not None:
            _end(self._pool)
            self._pool = None


def _end(pool: Any) -> None:
    pool.stop()
    pool.join()


def _begin(initializer: Callable[..., None] | None, *initargs: Any) -> None:
    """Set up a worker process."""
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
