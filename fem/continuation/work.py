r"""The work of the loads over one step of the path, from the states at its two ends.

With the loads l, their conjugate displacements g and the stiffness dl/dg along the path known at
both ends of a step, the curve is a cubic l(g) or a cubic g(l), with the work

.. math::
   \int l\, dg &= \bar l\, \Delta g + (l'_0 - l'_1)\, \Delta g^2 / 12,
                   \qquad l' = dl/dg, \qquad (1) \\
   \int l\, dg &= \bar l\, \Delta g - (g'_0 - g'_1)\, \Delta l^2 / 12,
                   \qquad g' = dg/dl. \qquad (2)

The cubic nearer to a parabola is used: l(g) close to a limit point and where threads tighten in
their toe region, g(l) where threads lock the volume.

At rest, where taut threads start in their toe region, the first slope may be valid for a very short
step only. There, unless the cubic is close to a parabola, l(g) is the parabola through both ends
with the last slope.

See also eq. (48) of docs/theory.md.

Source: derived here (Hermite's cubic, integrated).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from fem.continuation.state import State
from fem.core.arrays import Array

STATIONARY = 1e-12
"""A conjugate that changes by less than this fraction of its scale is constant."""

NEAR_PARABOLA = 0.2
"""Largest cubic part of a step from rest, as a fraction of the chord."""


def step_work(start: State, end: State, scale: Array) -> Array:
    """Return the work of pressure, force and torque from `start` to `end`, shape (3,), N mm.

    `scale` holds reference values of the conjugate displacements, shape (3,).
    """
    work = np.zeros(3)
    for pair in range(3):
        loads = np.array([start.loads[pair], end.loads[pair]])
        change = end.conjugates[pair] - start.conjugates[pair]
        if abs(change) > STATIONARY * scale[pair]:
            first, last = _stiffness(start, pair), _stiffness(end, pair)
            work[pair] = work_integral(loads, change, first, last, np.bool_(start.rest))
    return work


def _stiffness(state: State, pair: int) -> np.float64:
    """Return dl/dg; zero for a dead load, even where g does not change."""
    load, conjugate = state.load_slope[pair], state.conjugate_slope[pair]
    return np.float64(load / conjugate) if load and conjugate else np.float64(0.0)


@np.errstate(all="ignore")  # a curve may be flat or steep
def work_integral(loads: Any, change: Any, first: Any, last: Any, rest: Any) -> Any:
    """Return eq. (1) or (2) for numbers, or for arrays of many steps.

    Parameters
    ----------
    loads
        The loads at both ends, a pair.
    change
        The change of g.
    first, last
        dl/dg at both ends.
    rest
        Whether the step starts at rest.
    """
    rise = loads[1] - loads[0]
    cubic_in_g = np.abs((first + last) * change / rise - 2)
    cubic_in_l = np.abs((1 / first + 1 / last) * rise / change - 2)
    curved = rest & ~(np.fmin(cubic_in_g, cubic_in_l) < NEAR_PARABOLA)
    first = np.where(curved, 2 * rise / change - last, first)
    cubic_in_g = np.where(curved, 0.0, cubic_in_g)
    correction = np.where(
        cubic_in_l < cubic_in_g,
        -(1 / first - 1 / last) * rise**2 / 12,
        (first - last) * change**2 / 12,
    )
    return (loads[0] + loads[1]) / 2 * change + correction
