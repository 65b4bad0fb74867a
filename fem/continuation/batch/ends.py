"""Where paths end: at limit points, where the wall would tear, or at requested pressures."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.polynomial.polynomial import polyval

from fem.continuation.batch.model import BatchModel
from fem.continuation.batch.solve import MOST_AT_PRESSURE, solve_at_pressure, solve_at_volume
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

HALVINGS = 24
"""Bisections that find a root of a cubic, before Newton's method makes it exact."""

MAX_ROOT_ITERATIONS = 12
"""Most equilibria on the way to a limit point or a tear."""

ROOT_TOLERANCE = 1e-11
"""A limit point or a tear is found where the volume is known to this share."""


def torn(model: BatchModel, states: States) -> Mask:
    """Return whether the wall would be torn; `model` has a tube for each state; shape (m,)."""
    return model.wall_stretch(states.x) > MAX_STRETCH


def limit_points(model: BatchModel, start: States, end: States) -> tuple[States, Mask]:
    """Return the states of greatest pressure between pairs of states, and where they were found.

    At `start` pressure grows with volume, at `end` it does not.
    """
    _, c, b, a = pressure_cubic(start, end) * np.array([0.0, 1.0, 2.0, 3.0])[:, None]
    turn = 2 * c / (np.sqrt(np.maximum(b * b - 4 * a * c, 0.0)) - b)
    found, good = _root(model, start, end, turn, lambda states: states.stiffness)
    return found.with_role(LIMIT), good


def tears(model: BatchModel, start: States, end: States) -> tuple[States, Mask]:
    """Return the states whose wall has the largest allowed stretch, and where they were found.

    At `start` the stretch is smaller, at `end` greater.
    """

    def margin(states: States) -> Array:
        return np.log(MAX_STRETCH / model.wall_stretch(states.x))

    left, over = margin(start), -margin(end)
    found, good = _root(model, start, end, left / (left + over), margin)
    return found.with_role(LAST), good


def _root(
    model: BatchModel, start: States, end: States, share: Array, left: Callable[[States], Array]
) -> tuple[States, Mask]:
    """Return the states where `left` vanishes, between `start`, where it is positive, and `end`.

    The first guess is at a `share` of the change of volume; secants follow, or bisection where a
    secant leaves the interval.
    """
    share = np.where((share > 0) & (share < 1), share, 0.5)
    volume = start.volume + share * (end.volume - start.volume)
    found, good = solve_at_volume(model, predicted(start, end, volume), volume, again=True)
    rest = left(found)
    other = start.where(rest > 0, end)
    for _ in range(MAX_ROOT_ITERATIONS):
        early = rest > 0
        start, end = start.where(early, found), end.where(~early, found)
        step = rest * (other.volume - volume) / (rest - left(other))
        inside = (start.volume <= volume + step) & (volume + step <= end.volume)
        step = np.where(inside, step, (start.volume + end.volume) / 2 - volume)
        moves = np.abs(step) > ROOT_TOLERANCE * np.abs(volume)
        if not moves.any():
            break
        guess = found.x + step * found.slope
        there, solved = solve_at_volume(model, guess, volume + step, again=True)
        good &= solved | ~moves
        other, found = other.where(moves, found), found.where(moves, there)
        volume, rest = found.volume, left(found)
    return found, good


def at_pressures(model: BatchModel, path: States, pressures: Array) -> tuple[States, Mask]:
    """Return the states at requested pressures that are passed between states of paths.

    Parameters
    ----------
    model
        n tubes.
    path
        Their paths, in order, with growing pressure.
    pressures
        The requested pressures, shape (steps, n).

    Returns
    -------
    States, mask
        The states, and which of them were found, stable.
    """
    here = np.flatnonzero(~path.last)
    here = here[path.role[here + 1] != REQUESTED]
    start, end = path.take(here), path.take(here + 1)
    requested = pressures[:, start.tube]
    step, k = np.nonzero((start.pressure < requested) & (requested <= end.pressure))
    start, end, value = start.take(k), end.take(k), requested[step, k]
    volume = start.volume + _share_at(start, end, value) * (end.volume - start.volume)
    guess = predicted(start, end, volume)
    mine = model.take(start.tube)
    found, good = solve_at_pressure(mine, guess, value, start.volume, end.volume)
    return found.numbered(start.tube).with_role(REQUESTED), good


def _share_at(start: States, end: States, pressure: Array) -> Array:
    """Return where the cubic between pairs of states has a pressure, as a share of the volume."""
    cubic = pressure_cubic(start, end)
    low, high = np.zeros(len(start)), np.ones(len(start))
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        above = polyval(middle, cubic, tensor=False) >= pressure
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return (low + high) / 2


def beyond(model: BatchModel, limit: States) -> tuple[list[States], Mask]:
    """Return some states beyond limit points, as in :mod:`fem.continuation.path`.

    Also returned is where they are certain: where each was found, or would be torn.
    """
    here, step = limit, STEP_BEYOND * limit.volume
    passed, sure = [], np.ones(len(limit), dtype=bool)
    for _ in range(STATES_BEYOND):
        volume = here.volume + step
        guess = here.x + step * here.slope
        there, found = solve_at_volume(model, guess, volume, most=MOST_AT_PRESSURE)
        there = there.numbered(limit.tube)
        sure &= found
        whole = ~torn(model, there)
        step = np.where(whole, step, STEP_REDUCTION * step)
        here = here.where(whole, there)
        passed.append(there.take(np.flatnonzero(whole)).with_role(BEYOND))
    return passed, sure
