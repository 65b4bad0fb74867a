"""What a study will take: some of its curves are solved and weighed."""

from __future__ import annotations

import time
from dataclasses import dataclass

from fem.study.job_list import BUNDLE, JobList
from fem.study.results_db import weight
from fem.study.worker import Task, perform

SAMPLE = {"fast": 64, "fe": 5}
"""How many curves of a model are solved, spread over the study."""

TABLE_SHARE = 1.0
"""The table is at most as large again as the results database, by trial on the ready study."""


@dataclass(frozen=True)
class Estimate:
    """What the curves of one model are expected to take.

    Attributes
    ----------
    model
        The model.
    curves, sample
        How many there are, and how many of them were solved to learn it.
    seconds
        Of one worker for all of them.
    workers
        How many workers can share them.
    bytes
        On the disk for all of them.
    """

    model: str
    curves: int
    sample: int
    seconds: float
    workers: int
    bytes: float


def estimate(job_list: JobList) -> list[Estimate]:
    """Solve some curves of each model, and return what all of them are expected to take."""
    return [_estimate(job_list, model) for model in job_list.study.models if job_list.cases]


def _estimate(job_list: JobList, model: str) -> Estimate:
    curves = len(job_list.cases)
    count = min(SAMPLE[model], curves)
    middles = ((2 * k + 1) * curves // (2 * count) for k in range(count))  # of equal parts
    cases = tuple(job_list.cases[middle] for middle in middles)
    resolution = job_list.study.resolution
    perform(Task(model, cases[:2], resolution))  # the first ones compile and import
    began = time.perf_counter()
    found = perform(Task(model, cases, resolution))
    share = curves / count
    return Estimate(
        model=model,
        curves=curves,
        sample=count,
        seconds=share * (time.perf_counter() - began),
        workers=-(-curves // BUNDLE) if model == "fast" else curves,
        bytes=share * (1 + TABLE_SHARE) * sum(weight(done.curve) for done in found),
    )
