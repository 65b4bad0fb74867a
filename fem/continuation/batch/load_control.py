"""Load control of many tubes: each step to a given pressure starts on the cubic through two states.

A tube whose pressure has converged starts its next pressure at once, while others still iterate. A
tube that does not converge, or is not stable, stops. :mod:`fem.continuation.batch.refine` checks
the steps between the states.
"""

from __future__ import annotations

import numpy as np
from numpy.polynomial.polynomial import polyval

from fem.continuation.batch.model import BatchModel
from fem.continuation.batch.solve import PRESSURE_TOLERANCE, PressureSearch
from fem.continuation.batch.states import INTERMEDIATE, REQUESTED, REST, States
from fem.continuation.start import REST_PERTURBATION
from fem.continuation.state import hermite
from fem.core.arrays import Array, Mask

MAX_FIRST_ITERATIONS, MAX_ITERATIONS = 24, 14
"""Most iterations for the first step from rest, where threads tighten, and for other steps."""

ACTIVE_FRACTION = 0.9
"""Stopped tubes are removed from the arrays once the active ones are fewer than this fraction."""


def follow_by_pressure(model: BatchModel, pressures: Array, requested: Mask) -> States:
    """Return the states of n tubes at rest and at the pressures that they reach.

    Parameters
    ----------
    model
        n tubes.
    pressures
        Growing pressures (MPa), shape (steps, n).
    requested
        Which of them are requested, shape (steps,).
    """
    steps, n = pressures.shape
    rest = _at_rest(model, pressures[0])
    reached = [rest]
    ends = np.array([_curve(rest)] * 2)  # last state but one, last; shape (2, 2 unknowns + 1, n)
    number, part, x = np.arange(n), model, rest.x
    step, count, active = np.ones(n, dtype=int), np.zeros(n, dtype=int), np.ones(n, dtype=bool)
    search = PressureSearch(pressures[0].copy(), np.zeros(n), np.full(n, np.inf))
    role = np.where(requested, REQUESTED, INTERMEDIATE)
    while active.any():
        found = part.iterate(x)
        x, volume, error, search = search.update(x, found)
        count += 1
        converged = active & (error <= PRESSURE_TOLERANCE)
        too_many = count >= np.where(step == 1, MAX_FIRST_ITERATIONS, MAX_ITERATIONS)
        failed = active & (~np.isfinite(error) | np.where(converged, ~found.stable, too_many))
        k = np.flatnonzero(converged & ~failed)
        if k.size:
            state = States.of(
                found,
                k,
                tube=number[k],
                x=x[:, k],
                volume=volume[k],
                pressure=search.pressure[k],
                iterations=count[k],
                role=role[step[k] - 1],
            )
            reached.append(state)
            step[k] += 1
            target = pressures[np.minimum(step[k], steps) - 1, number[k]]
            ends[0][:, k], ends[1][:, k] = ends[1][:, k], _curve(state)
            x[:, k] = _predicted(ends[:, :, k], target, step[k] == 2)
            search.pressure[k], search.low[k], search.high[k] = target, state.volume, np.inf
            count[k] = 0
            failed[k] |= step[k] > steps
        if failed.any():
            active &= ~failed
            step[failed] = 1
            if active.sum() < ACTIVE_FRACTION * active.size:
                k = np.flatnonzero(active)
                number, part, x, ends = number[k], part.take(k), x[:, k], ends[:, :, k]
                step, count, active = step[k], count[k], active[k]
                search = PressureSearch(*(bound[k] for bound in search))
    path = rest.joined(*reached[1:]).sorted()
    return path.with_energies(model.take(path.tube))


def _at_rest(model: BatchModel, first: Array) -> States:
    """Return the states of rest, with the slopes of the path a small step beyond them.

    The step is a fraction of the pressures `first`, as in
    :func:`fem.continuation.start.slopes_near_rest`.
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


def _predicted(ends: Array, target: Array, from_rest: Mask) -> Array:
    """Return x at the pressures `target` on the cubics through two states, (unknowns, m).

    After the first step it is the tangent at the second state: the slope at rest may be valid for
    a very short step only.
    """
    unknowns = ends.shape[1] // 2
    x, slopes, pressure = ends[:, :unknowns], ends[:, unknowns:-1], ends[:, -1]
    span = pressure[1] - pressure[0]
    cubic = polyval((target - pressure[0]) / span, hermite(x, span * slopes), tensor=False)
    return np.where(from_rest, x[1] + (target - pressure[1]) * slopes[1], cubic)
