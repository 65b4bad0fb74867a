"""Estimate of time and disk space of a study, from a sample of its curves."""

from __future__ import annotations

import time
from dataclasses import dataclass

from fem.study.job_list import BATCH_SIZE, JobList
from fem.study.results_db import stored_size
from fem.study.worker import Task, solve_task

SAMPLE = {"fast": 64, "fe": 5}
"""Number of curves of a model that are solved, spread over the study."""

TABLE_SHARE = 1.0
"""Size of the table relative to the results database, at most; measured on the ready study."""


@dataclass(frozen=True)
class Estimate:
    """Expected time and disk space of the curves of one model.

    Attributes
    ----------
    model
        The model.
    curves, sample
        Number of curves, and number of those that were solved for the estimate.
    seconds
        Time for all curves with one worker.
    workers
        Greatest number of workers that can share the work.
    bytes
        Disk space of all curves.
    """

    model: str
    curves: int
    sample: int
    seconds: float
    workers: int
    bytes: float


def estimate(job_list: JobList) -> list[Estimate]:
    """Solve some curves of each model, and return the expected effort for all curves."""
    return [_estimate(job_list, model) for model in job_list.study.models if job_list.cases]


def _estimate(job_list: JobList, model: str) -> Estimate:
    curves = len(job_list.cases)
    count = min(SAMPLE[model], curves)
    middles = ((2 * k + 1) * curves // (2 * count) for k in range(count))  # of equal parts
    cases = tuple(job_list.cases[middle] for middle in middles)
    resolution = job_list.study.resolution
    solve_task(Task(model, cases[:2], resolution))  # the first call compiles and imports
    began = time.perf_counter()
    solved = solve_task(Task(model, cases, resolution))
    share = curves / count
    return Estimate(
        model=model,
        curves=curves,
        sample=count,
        seconds=share * (time.perf_counter() - began),
        workers=-(-curves // BATCH_SIZE) if model == "fast" else curves,
        bytes=share * (1 + TABLE_SHARE) * sum(stored_size(one.curve) for one in solved),
    )
