"""Many tubes by volume, from where they cannot go on by pressure to the end of their paths.

Volume grows through limit points and where the wall gives way to hardly any more pressure; with it
held, two unknowns are left and nothing is singular. The steps adapt to the account of work. A tube
goes on until it has passed its last pressure, its pressure falls, or its wall would tear.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fem.continuation.batch.energy_check import excess, step_works
from fem.continuation.batch.refine import until_limit
from fem.continuation.batch.solve import ROUGH, settle
from fem.continuation.batch.states import REST, Mask, States, foretold
from fem.continuation.path import AHEAD, TEARS
from fem.continuation.step_size import CUT
from fem.core.arrays import Array
from fem.fast.tubes import Tubes
from fem.fast.wall_stretch import greatest_stretch

MOST_STEPS = 200
"""Most steps of a tube, vain ones included; one that takes more is left to the path itself."""

GROWTH = 4.0
"""A step is at most so many times as long as the one before."""

SAFE, ORDER = 0.8, 3
"""A step aims at this share of the length at which its gap would be just allowed; the gap goes with
this power of the length at least."""


class Start(NamedTuple):
    """Where tubes are taken up.

    Attributes
    ----------
    here, before
        Their last states and those before, in the order of the tubes; at rest, the same twice.
    traffic
        Work so far without regard to signs, shape (n,).
    goal
        Last demanded pressure (MPa), shape (n,).
    step
        First change of nu, shape (n,).
    """

    here: States
    before: States
    traffic: Array
    goal: Array
    step: Array


def walk(tubes: Tubes, start: Start, from_rest: Array) -> tuple[States, Mask]:
    """Return the states along the way, and whether each tube came to an end of its path.

    The last state of a tube is the first beyond its last pressure, with falling pressure, or torn.
    """
    here, before, traffic, step = start.here, start.before, start.traffic, start.step
    n = len(tubes)
    going, part = np.arange(n), tubes
    passed, ended = [], np.zeros(n, dtype=bool)
    goal = start.goal
    for _ in range(MOST_STEPS):
        if not going.size:
            break
        there, found = _solve(part, here, before, step)
        push, way = step_works(part.springs, here, there)
        over = excess(here, there, push, traffic + way, from_rest[going])
        kept = found & (over <= 1)
        factor = np.where(found, SAFE * np.maximum(over, 1e-9) ** (-1 / ORDER), CUT)
        step = step * np.clip(factor, 0.1, GROWTH)
        if kept.any():
            k = np.flatnonzero(kept)
            passed.append(there.take(k).numbered(going[k]))
            traffic = traffic + np.where(kept, way, 0.0)
            before, here = before.where(kept, here), here.where(kept, there)
            ends = kept & (
                (here.pressure >= goal)
                | (here.stiffness <= 0)
                | (greatest_stretch(part, here.y) > TEARS)
            )
            ended[going[ends]] = True
            if ends.any():
                k = np.flatnonzero(~ends)
                going, part, here, before = going[k], part.take(k), here.take(k), before.take(k)
                traffic, step, goal = traffic[k], step[k], goal[k]
        ahead = np.minimum((goal - here.pressure) / here.stiffness, until_limit(before, here))
        step = np.where(here.role == REST, step, np.minimum(step, AHEAD * ahead))
    return (passed[0].then(*passed[1:]) if passed else start.here.take(np.array([], int))), ended


def _solve(tubes: Tubes, here: States, before: States, step: Array) -> tuple[States, Mask]:
    """Return the equilibria at volumes a `step` further, and where they were found."""
    nu = here.y[0] + step
    straight = here.y + step * here.along
    from_rest = (before.role == REST) | (before.y[0] == here.y[0])
    guess = np.where(from_rest, straight, foretold(before, here, nu))
    return settle(tubes, guess, enough=ROUGH)
