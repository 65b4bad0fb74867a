"""Who does the work: a :class:`WorkerPool` of this machine, or the workers of a Dask cluster.

Both take a task and hand out a future of it, and both outlive a worker that dies: what it had in
hand ends with :class:`WorkerLostError`, the rest goes on.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import CancelledError, Future
from typing import Any, Self

from fem.core.errors import InputError
from fem.core.processes import WorkerLostError, WorkerPool, use_one_thread


class NoWorkersError(Exception):
    """Nobody is left to do the work."""


class ClusterExecutor:
    """The workers of a Dask cluster, on which this package is installed.

    Parameters
    ----------
    address
        Address of the scheduler, such as ``tcp://10.0.0.1:8786``.
    patience
        How long to wait for it to answer (s).
    """

    def __init__(self, address: str, patience: float = 10.0) -> None:
        self.address, self._patience = address, patience

    def __enter__(self) -> Self:
        """Connect.

        Raises
        ------
        InputError
            If Dask is not installed, or no scheduler with workers is there.
        """
        try:
            from distributed import Client
        except ModuleNotFoundError:
            raise InputError(
                "--scheduler: Dask is not installed here; pip install 'tubewright[cluster]'"
            ) from None
        try:
            self._client = Client(self.address, timeout=self._patience, set_as_default=False)
        except Exception as error:  # Dask raises a dozen kinds of error
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
        """Hand a task in."""
        return self._executor.submit(_with_one_thread, work, *args)

    def result[T](self, future: Future[T]) -> T:
        """Return what came of a task that is done.

        Raises
        ------
        WorkerLostError
            If its worker died.
        NoWorkersError
            If nobody is left to do it.
        """
        from distributed import KilledWorker

        try:
            return future.result()
        except KilledWorker as lost:
            raise WorkerLostError(f"worker {lost.last_worker.address} died") from None
        except CancelledError:
            raise NoWorkersError(f"the scheduler {self.address} is gone") from None

    def __exit__(self, *_: object) -> None:
        """Take back what is in hand, and disconnect; the cluster stays."""
        self._executor.shutdown(wait=False)  # it cancels what is in hand
        self._client.close()


type Executor = WorkerPool | ClusterExecutor
"""Workers that tasks are handed to."""


def _with_one_thread[T](work: Callable[..., T], *args: Any) -> T:
    """Do work in a worker of a cluster, which has no initializer of ours."""
    use_one_thread()
    return work(*args)
