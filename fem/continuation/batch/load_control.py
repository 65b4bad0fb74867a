"""Many tubes through their demanded pressures, each step foretold by the cubic through two states.

Every tube goes on to its next pressure as soon as it has met one, while the others still iterate;
one that does not converge, or is not stable, stops. Whether the path between the states was missed
is left to :mod:`fem.continuation.batch.refine`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.polynomial.polynomial import polyval

from fem.continuation.batch.newton import Iteration, Search, iterate
from fem.continuation.batch.solve import FAIR
from fem.continuation.batch.states import DEMANDED, ON_THE_WAY, REST, Mask, States
from fem.continuation.cubic import hermite
from fem.continuation.start import HAIR
from fem.core.arrays import Array, Index
from fem.fast.potential import energy
from fem.fast.tubes import Tubes

MOST_FIRST, MOST = 24, 14
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
    rest = _at_rest(tubes, pressures[0])
    passed = [rest]
    ends = np.array([_by_pressure(rest)] * 2)  # last state but one, last; shape (2, 7, n)
    going, part, y = np.arange(n), tubes, np.zeros((3, n))
    step, count, live = np.ones(n, dtype=int), np.zeros(n, dtype=int), np.ones(n, dtype=bool)
    search = Search(pressures[0].copy(), np.zeros(n), np.full(n, np.inf))
    role = np.where(asked, DEMANDED, ON_THE_WAY)
    while live.any():
        found = iterate(part, y)
        y, error, search = search.onward(y, found)
        count += 1
        met = live & (error <= FAIR)
        spent = count >= np.where(step == 1, MOST_FIRST, MOST)
        lost = live & (~np.isfinite(error) | np.where(met, ~found.stable, spent))
        k = np.flatnonzero(met & ~lost)
        if k.size:
            state = _states(
                going[k], y[:, k], found, k, search.pressure[k], count[k], role[step[k] - 1]
            )
            passed.append(state)
            step[k] += 1
            aim = pressures[np.minimum(step[k], steps) - 1, going[k]]
            ends[0][:, k], ends[1][:, k] = ends[1][:, k], _by_pressure(state)
            y[:, k] = _foretold(ends[:, :, k], aim, step[k] == 2)
            search.pressure[k], search.low[k], search.high[k] = aim, state.y[0], np.inf
            count[k] = 0
            lost[k] |= step[k] > steps
        if lost.any():
            live &= ~lost
            step[lost] = 1
            if live.sum() < CROWD * live.size:
                k = np.flatnonzero(live)
                going, part, y, ends = going[k], part.take(k), y[:, k], ends[:, :, k]
                step, count, live = step[k], count[k], live[k]
                search = Search(*(bound[k] for bound in search))
    trail = rest.then(*passed[1:]).in_order()
    return replace(trail, stored=energy(tubes.take(trail.tube), trail.y))


def _states(
    tube: Index,
    y: Array,
    found: Iteration,
    k: Index,
    pressure: Array,
    count: Index,
    role: Index,
) -> States:
    """Return the states `k` of what was found, their energy left open."""
    return States(
        tube=tube,
        y=y,
        along=found.along[:, k],
        pressure=pressure,
        stiffness=found.stiffness[k],
        stored=np.zeros(len(k)),
        stable=found.stable[k],
        iterations=count,
        role=role,
    )


def _at_rest(tubes: Tubes, first: Array) -> States:
    """Return the states of rest, with the slopes of the path a hair beyond.

    The hair is a share of the way to the pressures `first`, as in
    :func:`fem.continuation.start.leave_rest`.
    """
    n = len(tubes)
    y = np.zeros((3, n))
    rest = iterate(tubes, y)
    hair = iterate(tubes, HAIR * first / rest.stiffness * rest.along)
    none = np.zeros(n, dtype=int)
    return _states(np.arange(n), y, hair, np.arange(n), np.zeros(n), none, none + REST)


def _by_pressure(state: States) -> Array:
    """Return y, dy/dP and P of states, shape (7, m)."""
    return np.concatenate([state.y, state.along / state.stiffness, state.pressure[None]])


def _foretold(ends: Array, aim: Array, from_rest: Mask) -> Array:
    """Return y at the pressures `aim` on the cubics through two states each, shape (3, m).

    Beyond the first step it is the tangent at the second: the slope at rest may hold for a tiny way
    only.
    """
    y, slopes, pressure = ends[:, :3], ends[:, 3:6], ends[:, 6]
    back = pressure[1] - pressure[0]
    cubic = hermite(y, back * slopes)
    curved = polyval((aim - pressure[0]) / back, cubic, tensor=False)
    return np.where(from_rest, y[1] + (aim - pressure[1]) * slopes[1], curved)
