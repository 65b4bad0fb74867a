"""Where paths end: at limit points, where the wall would tear, or at demanded pressures."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.polynomial.polynomial import polyval

from fem.continuation.batch.solve import MOST_AT, settle, settle_at
from fem.continuation.batch.states import (
    BEYOND,
    DEMANDED,
    LAST,
    LIMIT,
    Mask,
    States,
    foretold,
    pressure_cubic,
)
from fem.continuation.path import BEYOND as MOST_BEYOND
from fem.continuation.path import BEYOND_SHARE, TEARS
from fem.continuation.step_size import CUT
from fem.core.arrays import Array
from fem.fast.tubes import Tubes
from fem.fast.wall_stretch import greatest_stretch

HALVINGS = 24
"""Bisections that find a root of a cubic, before Newton's method makes it exact."""

ROUNDS = 12
"""Most equilibria on the way to a limit point or a tear."""

SHARP = 1e-11
"""A limit point or a tear is found where the volume is known to this share."""


def limit_points(tubes: Tubes, start: States, end: States) -> tuple[States, Mask]:
    """Return the states of greatest pressure between pairs of states, and where they were found.

    At `start` pressure grows with volume, at `end` it does not.
    """
    _, c, b, a = pressure_cubic(start, end) * np.array([0.0, 1.0, 2.0, 3.0])[:, None]
    turn = 2 * c / (np.sqrt(np.maximum(b * b - 4 * a * c, 0.0)) - b)
    found, good = _close_in(tubes, start, end, turn, lambda states: states.stiffness)
    return found.playing(LIMIT), good


def tears(tubes: Tubes, start: States, end: States) -> tuple[States, Mask]:
    """Return the states whose wall is stretched just as far as it bears, and where found.

    At `start` it is not yet, at `end` it would be torn.
    """

    def room(states: States) -> Array:
        return np.log(TEARS / greatest_stretch(tubes, states.y))

    left, over = room(start), -room(end)
    found, good = _close_in(tubes, start, end, left / (left + over), room)
    return found.playing(LAST), good


def _close_in(
    tubes: Tubes, start: States, end: States, share: Array, left: Callable[[States], Array]
) -> tuple[States, Mask]:
    """Return the states where `left` vanishes, between `start`, where it is positive, and `end`.

    They are looked for first at a `share` of the way, then by secants, or half way where a secant
    leads astray.
    """
    share = np.where((share > 0) & (share < 1), share, 0.5)
    nu = start.y[0] + share * (end.y[0] - start.y[0])
    found, good = settle(tubes, foretold(start, end, nu), again=True)
    rest = left(found)
    other = start.where(rest > 0, end)
    for _ in range(ROUNDS):
        early = rest > 0
        start, end = start.where(early, found), end.where(~early, found)
        step = rest * (other.y[0] - nu) / (rest - left(other))
        astray = ~((start.y[0] <= nu + step) & (nu + step <= end.y[0]))
        step = np.where(astray, (start.y[0] + end.y[0]) / 2 - nu, step)
        moves = np.abs(step) > SHARP * np.abs(nu)
        if not moves.any():
            break
        there, settled = settle(tubes, found.y + step * found.along, again=True)
        good &= settled | ~moves
        other, found = other.where(moves, found), found.where(moves, there)
        nu, rest = found.y[0], left(found)
    return found, good


def landings(tubes: Tubes, trail: States, pressures: Array) -> tuple[States, Mask]:
    """Return the states at demanded pressures that are passed between states of paths.

    Parameters
    ----------
    tubes
        n tubes.
    trail
        Their paths, in order, with growing pressure.
    pressures
        The demanded pressures, shape (steps, n).

    Returns
    -------
    States, mask
        The states, and which of them were found, stable.
    """
    here = np.flatnonzero(~trail.last)
    here = here[trail.role[here + 1] != DEMANDED]
    start, end = trail.take(here), trail.take(here + 1)
    asked = pressures[:, start.tube]
    step, k = np.nonzero((start.pressure < asked) & (asked <= end.pressure))
    start, end, value = start.take(k), end.take(k), asked[step, k]
    mine = tubes.take(start.tube)
    share = _share_at(start, end, value)
    nu = start.y[0] + share * (end.y[0] - start.y[0])
    guess = foretold(start, end, nu)
    found, good = settle_at(mine, guess, value, start.y[0], end.y[0])
    return found.numbered(start.tube).playing(DEMANDED), good


def _share_at(start: States, end: States, pressure: Array) -> Array:
    """Return where between pairs of states a pressure is met, by the cubic, as a share of nu."""
    cubic = pressure_cubic(start, end)
    low, high = np.zeros(len(start)), np.ones(len(start))
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        above = polyval(middle, cubic, tensor=False) >= pressure
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return (low + high) / 2


def beyond(tubes: Tubes, limit: States) -> tuple[list[States], Mask]:
    """Return some states behind limit points, as :mod:`fem.continuation.path` has them.

    Also returned is where they are certain: where each was found, or would be torn.
    """
    here, step = limit, BEYOND_SHARE * limit.y[0]
    passed, sure = [], np.ones(len(limit), dtype=bool)
    for _ in range(MOST_BEYOND):
        there, found = settle(tubes, here.y + step * here.along, most=MOST_AT)
        there = there.numbered(limit.tube)
        sure &= found
        whole = greatest_stretch(tubes, there.y) <= TEARS
        step = np.where(whole, step, CUT * step)
        here = here.where(whole, there)
        passed.append(there.take(np.flatnonzero(whole)).playing(BEYOND))
    return passed, sure
