"""Executors of tasks: a :class:`WorkerPool` of this machine, or the workers of a Dask cluster.

Both return a future for each task, and both continue if a worker dies: the future of its task
raises :class:`WorkerLostError`.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import CancelledError, Future
from typing import Any, Self

from fem.core.errors import InputError
from fem.core.processes import WorkerLostError, WorkerPool, use_one_thread


class NoWorkersError(Exception):
    """No workers are left."""


class ClusterExecutor:
    """The workers of a Dask cluster, on which this package is installed.

    Parameters
    ----------
    address
        Address of the scheduler, such as ``tcp://10.0.0.1:8786``.
    timeout
        Time to wait for an answer of the scheduler (s).
    """

    def __init__(self, address: str, timeout: float = 10.0) -> None:
        self.address, self._timeout = address, timeout

    def __enter__(self) -> Self:
        """Connect.

        Raises
        ------
        InputError
            If Dask is not installed, or there is no scheduler with workers of one thread.
        """
        try:
            from distributed import Client
        except ModuleNotFoundError:
            raise InputError(
                "--scheduler: Dask is not installed here; pip install 'tubewright[cluster]'"
            ) from None
        try:
            self._client = Client(self.address, timeout=self._timeout, set_as_default=False)
        except Exception as error:  # Dask raises many kinds of error
            raise InputError(f"--scheduler {self.address}: no scheduler answers: {error}") from None
        threads = self._client.nthreads()
        if not threads or max(threads.values()) > 1:
            self._client.close()
            found = "one has several threads" if threads else "the scheduler has none"
            raise InputError(
                f"--scheduler {self.address}: workers of one thread each are needed, {found}; "
                f"start them with: dask worker {self.address} --nworkers 2 --nthreads 1"
            )
        self.size = len(threads)
        self._executor = self._client.get_executor(pure=False)
        return self

    def submit[T](self, work: Callable[..., T], *args: Any) -> Future[T]:
        """Submit a task."""
        return self._executor.submit(_with_one_thread, work, *args)

    def result[T](self, future: Future[T]) -> T:
        """Return the result of a task that is done.

        Raises
        ------
        WorkerLostError
            If its worker died.
        NoWorkersError
            If no workers are left.
        """
        from distributed import KilledWorker

        try:
            return future.result()
        except KilledWorker as lost:
            raise WorkerLostError(f"worker {lost.last_worker.address} died") from None
        except CancelledError:
            raise NoWorkersError(f"the scheduler {self.address} no longer answers") from None

    def __exit__(self, *_: object) -> None:
        """Cancel the submitted tasks and disconnect; the cluster keeps running."""
        self._executor.shutdown(wait=False)  # cancels the submitted tasks
        self._client.close()


type Executor = WorkerPool | ClusterExecutor
"""Executes tasks on several workers."""


def _with_one_thread[T](work: Callable[..., T], *args: Any) -> T:
    """Run work in a worker of a cluster, which has no initializer for this."""
    use_one_thread()
    return work(*args)
