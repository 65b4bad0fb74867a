"""Further states between those of paths, until nothing can have been missed between them.

Something may have been missed between two states if the work over the step is not stored
(:mod:`fem.continuation.batch.energy_check`), or if the stiffness, extrapolated from the two states
before, vanishes within the step: then pressure may fall there and rise again. A state is inserted
at half the change of volume, and both halves are checked anew.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fem.continuation.batch.energy_check import Work, excess, step_works
from fem.continuation.batch.model import BatchModel
from fem.continuation.batch.solve import ROUGH, solve_at_volume
from fem.continuation.batch.states import REST, States, predicted
from fem.core.arrays import Array, Index, Mask

ROUNDS = 4
"""Rounds of insertion; where more would be needed, the path is cut off."""


def doubtful(path: States, work: Work) -> Mask:
    """Return whether something may have been missed on the way to each state, shape (m,)."""
    doubt = ~(work.excess <= 1)
    before, here, there = (path.take(slice(k, len(path) - 2 + k)) for k in range(3))
    ahead = until_limit(before, here) < there.volume - here.volume
    doubt[2:] |= ahead & (before.tube == there.tube)
    return doubt & ~path.first


def until_limit(before: States, here: States) -> Array:
    """Return the volume after which the extrapolated stiffness vanishes; inf if it does not fall.

    The slope at rest, which may be valid for a very short way only, is not extrapolated.
    """
    fall = before.stiffness - here.stiffness
    far = here.stiffness * (here.volume - before.volume) / fall
    falls = (here.stiffness > 0) & (fall > 0) & (before.role != REST)
    return np.where(falls, far, np.inf)


class Steps(NamedTuple):
    """Steps of paths, each from a state `start`, reached from `before`, to a state `end`.

    `absolute` is the absolute work up to the start, and `origin` the number of the step of which
    it is a part; shapes (m,).
    """

    before: States
    start: States
    end: States
    absolute: Array
    origin: Index

    def take(self, index: Index) -> Steps:
        """Return the steps of these numbers."""
        before, start, end = (part.take(index) for part in (self.before, self.start, self.end))
        return Steps(before, start, end, self.absolute[index], self.origin[index])


def between(
    model: BatchModel, path: States, work: Work, doubt: Mask, from_rest: Array
) -> tuple[States, Mask]:
    """Return states to be inserted where there is doubt, and the states to which no way was found.

    Parameters
    ----------
    model
        n tubes.
    path, work, from_rest
        See :func:`fem.continuation.batch.energy_check.work_along`.
    doubt
        Whether something may have been missed on the way to a state, shape (m,).
    """
    origin = np.flatnonzero(doubt)
    start = origin - 1
    steps = Steps(
        path.take(np.where(path.first[start], start, start - 1)),
        path.take(start),
        path.take(origin),
        work.absolute[start],
        origin,
    )
    found: list[States] = [path.take(origin[:0])]
    of: list[Index] = [origin[:0]]
    lost = np.zeros(len(path), dtype=bool)
    for _ in range(ROUNDS):
        if not len(steps.origin):
            break
        mine = model.take(steps.end.tube)
        middle, good = _halfway(mine, steps)
        lost[steps.origin[~good]] = True
        k = np.flatnonzero(good)
        found.append(middle.take(k))
        of.append(steps.origin[k])
        steps = _halves(steps.take(k), middle.take(k), from_rest)
    lost[steps.origin] = True
    sound = np.flatnonzero(~lost[np.concatenate(of)])
    return found[0].then(*found[1:]).take(sound), lost


def _halfway(model: BatchModel, steps: Steps) -> tuple[States, Mask]:
    """Return the states at half the change of volume, and which of them are sound."""
    start, end = steps.start, steps.end
    volume = (start.volume + end.volume) / 2
    guess = predicted(start, end, volume)
    middle, good = solve_at_volume(model, guess, volume, enough=ROUGH, most=5)
    rises = (start.pressure < middle.pressure) & (middle.pressure < end.pressure)
    return middle.numbered(end.tube), good & middle.stable & rises


def _halves(steps: Steps, middle: States, from_rest: Array) -> Steps:
    """Return those halves of steps on which something may still be missed."""
    halves = Steps(
        steps.before.then(steps.start),
        steps.start.then(middle),
        middle.then(steps.end),
        np.append(steps.absolute, steps.absolute),
        np.append(steps.origin, steps.origin),
    )
    work, absolute = step_works(halves.start, halves.end)
    halves.absolute[len(middle) :] += absolute[: len(middle)]
    upto = halves.absolute + absolute
    over = excess(halves.start, halves.end, work, upto, from_rest[halves.end.tube])
    way = halves.end.volume - halves.start.volume
    ahead = until_limit(halves.before, halves.start) < way
    return halves.take(np.flatnonzero(~(over <= 1) | ahead))
