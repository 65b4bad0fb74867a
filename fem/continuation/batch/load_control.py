"""Many tubes through given pressures, each step predicted by the cubic through two states.

Every tube goes on to its next pressure as soon as it has reached one, while others still iterate;
one that does not converge, or is not stable, stops. Whether something was missed between the states
is checked by :mod:`fem.continuation.batch.refine`.
"""

from __future__ import annotations

import numpy as np
from numpy.polynomial.polynomial import polyval

from fem.continuation.batch.model import BatchModel
from fem.continuation.batch.solve import FAIR, Search
from fem.continuation.batch.states import BETWEEN, REQUESTED, REST, States
from fem.continuation.start import REST_PERTURBATION
from fem.continuation.state import hermite
from fem.core.arrays import Array, Mask

MOST_FIRST, MOST = 24, 14
"""Most iterations for the first step from rest, where threads tighten at once, and for others."""

CROWD = 0.9
"""Tubes that have stopped are left out once fewer than this share of the others go on."""


def by_pressure(model: BatchModel, pressures: Array, requested: Mask) -> States:
    """Return the states of n tubes at rest and at those pressures that they reach.

    Parameters
    ----------
    model
        n tubes.
    pressures
        Growing pressures (MPa), shape (steps, n).
    requested
        Whether each of them is requested, shape (steps,).
    """
    steps, n = pressures.shape
    rest = _at_rest(model, pressures[0])
    passed = [rest]
    ends = np.array([_curve(rest)] * 2)  # last state but one, last; shape (2, 2 unknowns + 1, n)
    going, part, x = np.arange(n), model, rest.x
    step, count, live = np.ones(n, dtype=int), np.zeros(n, dtype=int), np.ones(n, dtype=bool)
    search = Search(pressures[0].copy(), np.zeros(n), np.full(n, np.inf))
    role = np.where(requested, REQUESTED, BETWEEN)
    while live.any():
        found = part.iterate(x)
        x, volume, error, search = search.onward(x, found)
        count += 1
        met = live & (error <= FAIR)
        spent = count >= np.where(step == 1, MOST_FIRST, MOST)
        lost = live & (~np.isfinite(error) | np.where(met, ~found.stable, spent))
        k = np.flatnonzero(met & ~lost)
        if k.size:
            state = States.of(
                found,
                k,
                tube=going[k],
                x=x[:, k],
                volume=volume[k],
                pressure=search.pressure[k],
                iterations=count[k],
                role=role[step[k] - 1],
            )
            passed.append(state)
            step[k] += 1
            aim = pressures[np.minimum(step[k], steps) - 1, going[k]]
            ends[0][:, k], ends[1][:, k] = ends[1][:, k], _curve(state)
            x[:, k] = _predicted(ends[:, :, k], aim, step[k] == 2)
            search.pressure[k], search.low[k], search.high[k] = aim, state.volume, np.inf
            count[k] = 0
            lost[k] |= step[k] > steps
        if lost.any():
            live &= ~lost
            step[lost] = 1
            if live.sum() < CROWD * live.size:
                k = np.flatnonzero(live)
                going, part, x, ends = going[k], part.take(k), x[:, k], ends[:, :, k]
                step, count, live = step[k], count[k], live[k]
                search = Search(*(bound[k] for bound in search))
    path = rest.then(*passed[1:]).in_order()
    return path.with_energies(model.take(path.tube))


def _at_rest(model: BatchModel, first: Array) -> States:
    """Return the states of rest, with the slopes of the path at a small offset from them.

    The offset is a share of the way to the pressures `first`, as in
    :func:`fem.continuation.start.leave_rest`.
    """
    x, n = model.rest(), len(model)
    rest = model.iterate(x)
    return States.of(
        model.iterate(x + REST_PERTURBATION * first / rest.stiffness * rest.slope),
        tube=np.arange(n),
        x=x,
        volume=np.zeros(n),
        pressure=np.zeros(n),
        iterations=np.zeros(n, dtype=int),
        role=np.full(n, REST),
    )


def _curve(state: States) -> Array:
    """Return x, dx/dP and P of states, shape (2 unknowns + 1, m)."""
    return np.concatenate([state.x, state.slope / state.stiffness, state.pressure[None]])


def _predicted(ends: Array, aim: Array, from_rest: Mask) -> Array:
    """Return x at the pressures `aim` on the cubics through two states each, (unknowns, m).

    Beyond the first step it is the tangent at the second: the slope at rest may be valid for a
    very short way only.
    """
    unknowns = ends.shape[1] // 2
    x, slopes, pressure = ends[:, :unknowns], ends[:, unknowns:-1], ends[:, -1]
    back = pressure[1] - pressure[0]
    curved = polyval((aim - pressure[0]) / back, hermite(x, back * slopes), tensor=False)
    return np.where(from_rest, x[1] + (aim - pressure[1]) * slopes[1], curved)
