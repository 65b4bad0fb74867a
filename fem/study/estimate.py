"""What a study will take: some of its curves are solved and weighed."""

from __future__ import annotations

import time
from dataclasses import dataclass

from fem.study.job_list import BUNDLE, Agenda
from fem.study.results_db import weight
from fem.study.worker import Task, perform

SAMPLE = {"fast": 64, "fe": 5}
"""How many curves of a model are solved, spread over the study."""

TABLE_SHARE = 1.0
"""The table is at most as large again as the ledger, by trial on the ready study."""


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


def estimate(agenda: Agenda) -> list[Estimate]:
    """Solve some curves of each model, and return what all of them are expected to take."""
    return [_estimate(agenda, model) for model in agenda.study.models if agenda.cases]


def _estimate(agenda: Agenda, model: str) -> Estimate:
    curves = len(agenda.cases)
    count = min(SAMPLE[model], curves)
    middles = ((2 * k + 1) * curves // (2 * count) for k in range(count))  # of equal parts
    cases = tuple(agenda.cases[middle] for middle in middles)
    resolution = agenda.study.resolution
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
