"""Processes of this program: how many threads they use for linear algebra."""

from __future__ import annotations

import os
import sys


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
