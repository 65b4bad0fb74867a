"""Many tubes by volume, from where they cannot go on by pressure to the end of their paths.

Volume grows through limit points, and where the wall yields to a small change of pressure; at fixed
volume nothing is singular. The steps adapt to the energy check. A tube goes on until it has passed
its last pressure, its pressure falls, or its wall would tear.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fem.continuation.batch.ends import torn
from fem.continuation.batch.energy_check import excess, step_works
from fem.continuation.batch.model import BatchModel
from fem.continuation.batch.refine import until_limit
from fem.continuation.batch.solve import ROUGH, solve_at_volume
from fem.continuation.batch.states import REST, States, predicted
from fem.continuation.path import MAX_EXTRAPOLATION
from fem.continuation.stepper import STEP_REDUCTION
from fem.core.arrays import Array, Mask

MOST_STEPS = 200
"""Most steps of a tube, unsuccessful ones included; one that takes more is left to the path of one
case."""

GROWTH = 4.0
"""A step is at most this many times as long as the one before."""

SAFE, ORDER = 0.8, 3
"""A step aims at this share of the length at which its energy gap would be just allowed; the gap
goes with this power of the length at least."""


class Start(NamedTuple):
    """Where tubes are taken up.

    Attributes
    ----------
    here, before
        Their last states and those before, in the order of the tubes; at rest, the same twice.
    absolute
        Absolute work so far, shape (n,).
    goal
        Last requested pressure (MPa), shape (n,).
    step
        First change of volume, shape (n,).
    """

    here: States
    before: States
    absolute: Array
    goal: Array
    step: Array


def by_volume(model: BatchModel, start: Start, from_rest: Array) -> tuple[States, Mask]:
    """Return the states along the way, and whether each tube came to an end of its path.

    The last state of a tube is the first beyond its last pressure, with falling pressure, or torn.
    """
    here, before, absolute, goal, step = start
    going, part = np.arange(len(model)), model
    passed, ended = [here.take(going[:0])], np.zeros(len(model), dtype=bool)
    for _ in range(MOST_STEPS):
        if not going.size:
            break
        there, found = _solve(part, here, before, step)
        work, way = step_works(here, there)
        over = excess(here, there, work, absolute + way, from_rest[going])
        kept = found & (over <= 1)
        factor = np.where(found, SAFE * np.maximum(over, 1e-9) ** (-1 / ORDER), STEP_REDUCTION)
        step = step * np.clip(factor, 0.1, GROWTH)
        if kept.any():
            k = np.flatnonzero(kept)
            passed.append(there.take(k).numbered(going[k]))
            absolute = absolute + np.where(kept, way, 0.0)
            before, here = before.where(kept, here), here.where(kept, there)
            ends = kept & ((here.pressure >= goal) | (here.stiffness <= 0) | torn(part, here))
            ended[going[ends]] = True
            if ends.any():
                k = np.flatnonzero(~ends)
                going, part, here, before = going[k], part.take(k), here.take(k), before.take(k)
                absolute, step, goal = absolute[k], step[k], goal[k]
        ahead = np.minimum((goal - here.pressure) / here.stiffness, until_limit(before, here))
        step = np.where(here.role == REST, step, np.minimum(step, MAX_EXTRAPOLATION * ahead))
    return passed[0].then(*passed[1:]), ended


def _solve(model: BatchModel, here: States, before: States, step: Array) -> tuple[States, Mask]:
    """Return the equilibria at volumes a `step` further, and where they were found."""
    volume = here.volume + step
    straight = here.x + step * here.slope
    from_rest = (before.role == REST) | (before.volume == here.volume)
    guess = np.where(from_rest, straight, predicted(before, here, volume))
    return solve_at_volume(model, guess, volume, enough=ROUGH)
