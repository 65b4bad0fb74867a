"""States at limit points, at the stretch limit of the wall, and at requested pressures."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.polynomial.polynomial import polyval

from fem.continuation.batch.model import BatchModel
from fem.continuation.batch.solve import (
    MAX_ITERATIONS_AT_PRESSURE,
    solve_at_pressure,
    solve_at_volume,
)
from fem.continuation.batch.states import (
    BEYOND,
    LAST,
    LIMIT,
    REQUESTED,
    States,
    predicted,
    pressure_cubic,
)
from fem.continuation.events import STATES_BEYOND, STEP_BEYOND
from fem.continuation.stepper import MAX_STRETCH, STEP_REDUCTION
from fem.core.arrays import Array, Mask

BISECTIONS = 24
"""Bisections for the root of a cubic, the first guess of Newton's method."""

MAX_ROOT_ITERATIONS = 12
"""Most equilibria solved for a limit point or a stretch limit."""

ROOT_TOLERANCE = 1e-11
"""Relative accuracy of the volume at a limit point or a stretch limit."""


def overstretched(model: BatchModel, states: States) -> Mask:
    """Return whether the wall is beyond the stretch limit, shape (m,); `model` has m tubes."""
    return model.wall_stretch(states.x) > MAX_STRETCH


def limit_points(model: BatchModel, start: States, end: States) -> tuple[States, Mask]:
    """Return the states of maximum pressure between pairs of states, and a mask of those found.

    At `start` the pressure grows with volume, at `end` it does not.
    """
    _, c, b, a = pressure_cubic(start, end) * np.array([0.0, 1.0, 2.0, 3.0])[:, None]
    fraction = 2 * c / (np.sqrt(np.maximum(b * b - 4 * a * c, 0.0)) - b)
    found, good = _root(model, start, end, fraction, lambda states: states.stiffness)
    return found.with_role(LIMIT), good


def stretch_limits(model: BatchModel, start: States, end: States) -> tuple[States, Mask]:
    """Return the states at the stretch limit of the wall, and a mask of those found.

    At `start` the stretch is smaller, at `end` larger.
    """

    def margin(states: States) -> Array:
        return np.log(MAX_STRETCH / model.wall_stretch(states.x))

    below, above = margin(start), -margin(end)
    found, good = _root(model, start, end, below / (below + above), margin)
    return found.with_role(LAST), good


def _root(
    model: BatchModel,
    start: States,
    end: States,
    fraction: Array,
    function: Callable[[States], Array],
) -> tuple[States, Mask]:
    """Return the roots of `function` between `start`, where it is positive, and `end`.

    The first guess is at a `fraction` of the change of volume. The method uses secants, and
    bisection where a secant leaves the bracket. Also returned is a mask of the roots found.
    """
    fraction = np.where((fraction > 0) & (fraction < 1), fraction, 0.5)
    volume = start.volume + fraction * (end.volume - start.volume)
    found, good = solve_at_volume(model, predicted(start, end, volume), volume, reevaluate=True)
    value = function(found)
    other = start.where(value > 0, end)
    for _ in range(MAX_ROOT_ITERATIONS):
        positive = value > 0
        start, end = start.where(positive, found), end.where(~positive, found)
        step = value * (other.volume - volume) / (value - function(other))
        inside = (start.volume <= volume + step) & (volume + step <= end.volume)
        step = np.where(inside, step, (start.volume + end.volume) / 2 - volume)
        moves = np.abs(step) > ROOT_TOLERANCE * np.abs(volume)
        if not moves.any():
            break
        guess = found.x + step * found.slope
        new, solved = solve_at_volume(model, guess, volume + step, reevaluate=True)
        good &= solved | ~moves
        other, found = other.where(moves, found), found.where(moves, new)
        volume, value = found.volume, function(found)
    return found, good


def states_at_pressures(model: BatchModel, path: States, pressures: Array) -> tuple[States, Mask]:
    """Return the states at requested pressures between states of paths.

    Parameters
    ----------
    model
        n tubes.
    path
        Their paths, sorted, with growing pressure.
    pressures
        The requested pressures, shape (steps, n).

    Returns
    -------
    States, mask
        The states, and which of them were found and are stable.
    """
    first = np.flatnonzero(~path.last)
    first = first[path.role[first + 1] != REQUESTED]
    start, end = path.take(first), path.take(first + 1)
    requested = pressures[:, start.tube]
    step, k = np.nonzero((start.pressure < requested) & (requested <= end.pressure))
    start, end, value = start.take(k), end.take(k), requested[step, k]
    volume = start.volume + _fraction_at(start, end, value) * (end.volume - start.volume)
    guess = predicted(start, end, volume)
    tubes = model.take(start.tube)
    found, good = solve_at_pressure(tubes, guess, value, start.volume, end.volume)
    return found.with_tube(start.tube).with_role(REQUESTED), good


def _fraction_at(start: States, end: States, pressure: Array) -> Array:
    """Return the fraction of the change of volume at which the cubic has a pressure."""
    cubic = pressure_cubic(start, end)
    low, high = np.zeros(len(start)), np.ones(len(start))
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        above = polyval(middle, cubic, tensor=False) >= pressure
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return (low + high) / 2


def states_beyond(model: BatchModel, limit: States) -> tuple[list[States], Mask]:
    """Return states beyond limit points, as in :mod:`fem.continuation.path`.

    Also returned is a mask of the limit points for which no state failed.
    """
    state, step = limit, STEP_BEYOND * limit.volume
    found_states, certain = [], np.ones(len(limit), dtype=bool)
    for _ in range(STATES_BEYOND):
        volume = state.volume + step
        guess = state.x + step * state.slope
        new, found = solve_at_volume(
            model, guess, volume, max_iterations=MAX_ITERATIONS_AT_PRESSURE
        )
        new = new.with_tube(limit.tube)
        certain &= found
        allowed = ~overstretched(model, new)
        step = np.where(allowed, step, STEP_REDUCTION * step)
        state = state.where(allowed, new)
        found_states.append(new.take(np.flatnonzero(allowed)).with_role(BEYOND))
    return found_states, certain
