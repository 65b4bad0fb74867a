r"""The work of the loads over one step of the path, from what is known at its two ends.

With loads l, coordinates g, and their ratio of change along the path known at both ends of a step,
the curve is a cubic l(g) or a cubic g(l), whence the work

.. math::
   \int l\, dg &= \bar l\, \Delta g + (l'_0 - l'_1)\, \Delta g^2 / 12,
                   \qquad l' = dl/dg, \qquad (1) \\
   \int l\, dg &= \bar l\, \Delta g - (g'_0 - g'_1)\, \Delta l^2 / 12,
                   \qquad g' = dg/dl. \qquad (2)

Of the two cubics the one nearer to a parabola is taken: l(g) where a tube is about to balloon or
threads tighten in their toe, g(l) where threads lock the volume.

At rest, where taut threads begin in their toe, the first slope may hold for a tiny way only. There,
unless the cubic is near to a parabola anyway, l(g) is the parabola through both ends with the last
slope.

Source: derived here (Hermite's cubic, integrated).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from fem.continuation.state import State
from fem.core.arrays import Array

STATIONARY = 1e-12
"""A coordinate that moves by less than this share of its scale stands still."""

NEAR_PARABOLA = 0.2
"""How far a cubic from rest may be from a parabola: its cubic part as a share of the chord."""


def step_work(start: State, end: State, scale: Array) -> Array:
    """Return the work of pressure, force and torque from `start` to `end`, shape (3,), N mm.

    `scale` are the sizes of the coordinates, shape (3,).
    """
    work = np.zeros(3)
    for pair in range(3):
        loads = np.array([start.loads[pair], end.loads[pair]])
        way = end.conjugates[pair] - start.conjugates[pair]
        if abs(way) > STATIONARY * scale[pair]:
            first, last = _stiffness(start, pair), _stiffness(end, pair)
            work[pair] = work_integral(loads, way, first, last, np.bool_(start.rest))
    return work


def _stiffness(state: State, pair: int) -> np.float64:
    """Return dl/dg; nil for a dead load, even where nothing moves."""
    load, place = state.load_slope[pair], state.conjugate_slope[pair]
    return np.float64(load / place) if load and place else np.float64(0.0)


@np.errstate(all="ignore")  # a curve may be flat or steep
def work_integral(loads: Any, way: Any, first: Any, last: Any, rest: Any) -> Any:
    """Return eq. (1) or (2) for numbers, or arrays of many steps.

    Parameters
    ----------
    loads
        The loads at both ends, a pair.
    way
        The way of g.
    first, last
        dl/dg at both ends.
    rest
        Whether the step begins at rest.
    """
    rise = loads[1] - loads[0]
    by_place = np.abs((first + last) * way / rise - 2)
    with_load_parameter = np.abs((1 / first + 1 / last) * rise / way - 2)
    curved = rest & ~(np.fmin(by_place, with_load_parameter) < NEAR_PARABOLA)
    first = np.where(curved, 2 * rise / way - last, first)
    by_place = np.where(curved, 0.0, by_place)
    correction = np.where(
        with_load_parameter < by_place,
        -(1 / first - 1 / last) * rise**2 / 12,
        (first - last) * way**2 / 12,
    )
    return (loads[0] + loads[1]) / 2 * way + correction
