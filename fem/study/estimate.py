"""What a study will take: some of its curves are solved and weighed."""

from __future__ import annotations

import time
from collections.abc import Sequence
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
    cases = tuple(_spread(agenda.cases, SAMPLE[model]))
    resolution = agenda.study.resolution
    perform(Task(model, cases[:2], resolution))  # the first ones compile and import
    began = time.perf_counter()
    found = perform(Task(model, cases, resolution))
    share = len(agenda.cases) / len(cases)
    return Estimate(
        model=model,
        curves=len(agenda.cases),
        sample=len(cases),
        seconds=share * (time.perf_counter() - began),
        workers=-(-len(agenda.cases) // BUNDLE) if model == "fast" else len(agenda.cases),
        bytes=share * (1 + TABLE_SHARE) * sum(weight(done.curve) for done in found),
    )


def _spread[Item](items: Sequence[Item], count: int) -> list[Item]:
    """Return at most so many items, evenly spread over the middles of equal parts."""
    count = min(count, len(items))
    return [items[(2 * k + 1) * len(items) // (2 * count)] for k in range(count)]
