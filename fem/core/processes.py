"""Processes of this program: how many threads they use for linear algebra."""

from __future__ import annotations


def use_one_thread() -> None:
    """Let this process use one thread for linear algebra, whatever is loaded already.

    Matrices here are small or sparse, and studies run one process a core: more threads in one
    process only wait for each other. For workers alone; the host's settings are the user's.
    """
    from threadpoolctl import threadpool_limits

    threadpool_limits(limits=1)
