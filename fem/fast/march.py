"""Many tubes through their demanded pressures, each step foretold by the cubic through two states.

Every tube goes on to its next pressure as soon as it has met one, while the others still iterate;
one that does not converge, or is not stable, stops. Whether the path between the states was missed
is left to :mod:`fem.fast.ledger`.
"""

from __future__ import annotations

import numpy as np
from numpy.polynomial.polynomial import polyval

from fem.arrays import Array, Index
from fem.cubic import hermite
from fem.fast.equilibrium import Iteration, Search, iterate
from fem.fast.potential import energy
from fem.fast.states import DEMANDED, ON_THE_WAY, REST, Mask, States
from fem.fast.tubes import Tubes
from fem.newton import TOLERANCE
from fem.start import HAIR

MOST_FIRST, MOST = 24, 24
"""Most iterations for the first step from rest, where threads tighten at once, and for others."""

CROWD = 0.9
"""Tubes that have stopped are left out once fewer than this share of the others go on."""


def march(tubes: Tubes, pressures: Array, asked: Mask) -> States:
    """Return the states of the tubes at rest and at the pressures that they reach.

    Parameters
    ----------
    tubes
        n tubes.
    pressures
        Pressures to be met, one after another, shape (steps, n).
    asked
        Whether each of them is demanded, shape (steps,).
    """
    steps, n = pressures.shape
    record = _Record(steps + 1, n)
    record.note(np.zeros(n, dtype=int), np.arange(n), *_at_rest(tubes, pressures[0]))
    going, part = np.arange(n), tubes
    y, step, count = np.zeros((3, n)), np.ones(n, dtype=int), np.zeros(n, dtype=int)
    live = np.ones(n, dtype=bool)
    search = Search(pressures[0].copy(), np.zeros(n), np.full(n, np.inf))
    while live.any():
        found = iterate(part, y)
        y, error, search = search.onward(y, found)
        count += 1
        met = live & (error <= TOLERANCE)
        spent = count >= np.where(step == 1, MOST_FIRST, MOST)
        lost = live & (~np.isfinite(error) | np.where(met, ~found.stable, spent))
        met &= ~lost
        if met.any():
            k = np.flatnonzero(met)
            record.note(step[k], going[k], y[:, k], _slopes(found, k), count[k])
            search.low[k], search.high[k] = y[0, k], np.inf
            y[:, k] = record.foretold(step[k], going[k], pressures)
            count[k] = 0
            step[k] += 1
            lost[k] |= step[k] > steps
            search.pressure[k] = pressures[np.minimum(step[k], steps) - 1, going[k]]
        if lost.any():
            live &= ~lost
            step[lost] = 1
            if live.sum() < CROWD * live.size:
                k = np.flatnonzero(live)
                going, part, y = going[k], part.take(k), y[:, k]
                step, count, live = step[k], count[k], live[k]
                search = Search(*(bound[k] for bound in search))
    return record.states(tubes, pressures, asked)


def _slopes(found: Iteration, k: Index) -> Array:
    """Return dy/dnu without its first element, which is 1, and dP/dnu; shape (3, m)."""
    return np.concatenate([found.along[1:, k], found.stiffness[None, k]])


def _at_rest(tubes: Tubes, first: Array) -> tuple[Array, Array, Index]:
    """Return y at rest, the slopes of the path a hair beyond it, and no iteration.

    The hair is a share of the way to the pressures `first`, as in :func:`fem.start.leave_rest`.
    """
    n = len(tubes)
    y = np.zeros((3, n))
    rest = iterate(tubes, y)
    hair = iterate(tubes, HAIR * first / rest.stiffness * rest.along)
    return y, _slopes(hair, np.arange(n)), np.zeros(n, dtype=int)


class _Record:
    """What each tube has passed: states by step and tube."""

    def __init__(self, steps: int, n: int) -> None:
        self._y, self._slopes = np.zeros((steps, n, 3)), np.ones((steps, n, 3))
        self._count = np.full((steps, n), -1)

    def note(self, step: Index, tube: Index, y: Array, slopes: Array, count: Index) -> None:
        """Write down a state each of some tubes."""
        self._y[step, tube], self._slopes[step, tube] = y.T, slopes.T
        self._count[step, tube] = count

    def foretold(self, step: Index, tube: Index, pressures: Array) -> Array:
        """Return y foretold for the step after `step`, shape (3, m)."""
        here, before = (self._by_pressure(k, tube) for k in (step, step - 1))
        now = pressures[step - 1, tube]
        then = np.where(step > 1, pressures[step - 2, tube], 0.0)
        aim = pressures[np.minimum(step, len(pressures) - 1), tube]
        back = now - then
        cubic = hermite(np.array([before[0], here[0]]), back * np.array([before[1], here[1]]))
        curved = polyval((aim - then) / back, cubic, tensor=False)
        # the slope at rest may hold for a tiny way only
        return np.where(step == 1, here[0] + (aim - now) * here[1], curved)

    def _by_pressure(self, step: Index, tube: Index) -> tuple[Array, Array]:
        """Return y and dy/dP, shapes (3, m)."""
        y, slopes = self._y[step, tube].T, self._slopes[step, tube].T
        return y, np.array([np.ones_like(slopes[0]), slopes[0], slopes[1]]) / slopes[2]

    def states(self, tubes: Tubes, pressures: Array, asked: Mask) -> States:
        """Return all that was written down, by tubes."""
        tube, step = np.nonzero(self._count.T >= 0)
        slopes = self._slopes[step, tube].T
        stored = np.array([energy(tubes, np.ascontiguousarray(y.T)) for y in self._y])
        role = np.concatenate([[REST], np.where(asked, DEMANDED, ON_THE_WAY)])
        return States(
            tube=tube,
            y=np.ascontiguousarray(self._y[step, tube].T),
            along=np.array([np.ones(len(tube)), slopes[0], slopes[1]]),
            pressure=np.concatenate([np.zeros_like(pressures[:1]), pressures])[step, tube],
            stiffness=np.ascontiguousarray(slopes[2]),
            stored=stored[step, tube],
            stable=np.ones(len(tube), dtype=bool),
            iterations=self._count[step, tube],
            role=role[step],
        )
