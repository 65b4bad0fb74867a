"""States between those of paths, until nothing between can have been missed.

Between two states of a path something may have been missed if the work on the way is not stored
(:mod:`fem.continuation.batch.energy_check`), or if the stiffness, extrapolated from the two states
before, vanishes on the way: then pressure may fall there and rise again. A state is put in at half
the change of volume, and both halves are judged anew.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fem.continuation.batch.energy_check import Account, excess, step_works
from fem.continuation.batch.solve import ROUGH, settle
from fem.continuation.batch.states import REST, Mask, States, foretold
from fem.core.arrays import Array, Index
from fem.fast.tubes import Tubes

ROUNDS = 4
"""So many times states are put in; where that does not do, the path is cut off."""


def doubtful(trail: States, account: Account) -> Mask:
    """Return whether something may have been missed on the way to each state, shape (m,)."""
    doubt = ~(account.excess <= 1)
    before, here, there = (trail.take(np.arange(k, len(trail) - 2 + k)) for k in range(3))
    ahead = until_limit(before, here) < there.y[0] - here.y[0]
    doubt[2:] |= ahead & (before.tube == there.tube)
    return doubt & ~trail.first


def until_limit(before: States, here: States) -> Array:
    """Return how far on nu the stiffness, extrapolated, vanishes; infinite where it does not fall.

    The slope at rest, which may hold for a tiny way only, foretells nothing.
    """
    fall = before.stiffness - here.stiffness
    far = here.stiffness * (here.y[0] - before.y[0]) / fall
    falls = (here.stiffness > 0) & (fall > 0) & (before.role != REST)
    return np.where(falls, far, np.inf)


class Steps(NamedTuple):
    """Steps of paths, each from a state `start`, reached from `before`, to a state `end`.

    `traffic` is that up to the start (MPa), and `origin` the number of the step that it is part
    of; shapes (m,).
    """

    before: States
    start: States
    end: States
    traffic: Array
    origin: Index

    def take(self, index: Index) -> Steps:
        """Return the steps of these numbers."""
        before, start, end = (part.take(index) for part in (self.before, self.start, self.end))
        return Steps(before, start, end, self.traffic[index], self.origin[index])


def between(
    tubes: Tubes, trail: States, account: Account, doubt: Mask, from_rest: Array
) -> tuple[States, Mask]:
    """Return states to be put in where there is doubt, and to which states no way was found.

    Parameters
    ----------
    tubes, trail, account, from_rest
        As of :func:`fem.continuation.batch.energy_check.keep_account`.
    doubt
        Whether something may have been missed on the way to a state, shape (m,).
    """
    origin = np.flatnonzero(doubt)
    start = origin - 1
    steps = Steps(
        trail.take(np.where(trail.first[start], start, start - 1)),
        trail.take(start),
        trail.take(origin),
        account.traffic[start],
        origin,
    )
    found: list[States] = [trail.take(origin[:0])]
    of: list[Index] = [origin[:0]]
    lost = np.zeros(len(trail), dtype=bool)
    for _ in range(ROUNDS):
        if not len(steps.origin):
            break
        mine = tubes.take(steps.end.tube)
        middle, good = _halfway(mine, steps)
        lost[steps.origin[~good]] = True
        k = np.flatnonzero(good)
        found.append(middle.take(k))
        of.append(steps.origin[k])
        steps = _halves(mine.take(k), steps.take(k), middle.take(k), from_rest)
    lost[steps.origin] = True
    sound = np.flatnonzero(~lost[np.concatenate(of)])
    return found[0].then(*found[1:]).take(sound), lost


def _halfway(tubes: Tubes, steps: Steps) -> tuple[States, Mask]:
    """Return the states at half the change of volume, and which of them are sound."""
    start, end = steps.start, steps.end
    guess = foretold(start, end, (start.y[0] + end.y[0]) / 2)
    middle, good = settle(tubes, guess, enough=ROUGH, most=5)
    rises = (start.pressure < middle.pressure) & (middle.pressure < end.pressure)
    return middle.numbered(end.tube), good & middle.stable & rises


def _halves(tubes: Tubes, steps: Steps, middle: States, from_rest: Array) -> Steps:
    """Return those halves of steps on which something may still be missed."""
    halves = Steps(
        steps.before.then(steps.start),
        steps.start.then(middle),
        middle.then(steps.end),
        np.append(steps.traffic, steps.traffic),
        np.append(steps.origin, steps.origin),
    )
    springs = np.concatenate([tubes.springs, tubes.springs], axis=1)
    work, way = step_works(springs, halves.start, halves.end)
    halves.traffic[len(middle) :] += way[: len(middle)]
    over = excess(halves.start, halves.end, work, halves.traffic + way, from_rest[halves.end.tube])
    ahead = until_limit(halves.before, halves.start) < halves.end.y[0] - halves.start.y[0]
    return halves.take(np.flatnonzero(~(over <= 1) | ahead))


def until(trail: States, lost: Mask) -> Index:
    """Return the numbers of the states of each path before the first that is lost."""
    begins = np.maximum.accumulate(np.where(trail.first, np.arange(len(trail)), 0))
    total = np.cumsum(lost)
    return np.flatnonzero(total - total[begins] == 0)
