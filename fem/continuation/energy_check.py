"""Energy check: the work of the loads along a step must equal the change of the stored energy.

See also eq. (49) of docs/theory.md.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fem.continuation.state import State
from fem.continuation.work import step_work
from fem.core.arrays import Array

ENERGY_TOLERANCE = 7e-4
"""Largest energy gap of a step, as a fraction of the absolute work so far.

Found by trial: entire paths of 300 random cases then stay below 1e-3.
"""

ROUGH_ENERGY_TOLERANCE = 0.05
"""The same for stages that are not output."""

ROUND_OFF = 1e-9
"""Round-off: this fraction of the stored energy is allowed in addition."""

JUMP_RATIO = 10
"""A step that releases this multiple of the allowed gap jumps to another branch."""


class EnergyBalanceError(ArithmeticError):
    """The work of a step is not stored: the step left the path.

    Attributes
    ----------
    state
        The state at its end.
    step_factor
        Proposed factor on the step; the gap is at least of third order in its length.
    jumps_branch
        Whether the step releases so much energy that it leads to another branch.
    """

    def __init__(self, state: State, allowed: float, gap: float) -> None:
        super().__init__("the work of a step is not stored")
        self.state = state
        self.step_factor = float(np.clip(0.9 * (allowed / abs(gap)) ** (1 / 3), 0.1, 0.6))
        self.jumps_branch = gap < -JUMP_RATIO * allowed


def with_work(before: State, state: State, scale: Array, tolerance: float) -> State:
    """Return `state` with the work of the loads up to it.

    Parameters
    ----------
    before, state
        The ends of a step.
    scale
        Reference values of the conjugate displacements, shape (3,): mm3, mm, rad.
    tolerance
        Largest allowed energy gap, as a fraction of the absolute work so far.

    Raises
    ------
    EnergyBalanceError
        If the gap is larger.
    """
    work = step_work(before, state, scale)
    absolute_work = before.absolute_work + float(np.abs(work).sum())
    gap = state.energy - before.energy - float(work.sum())
    allowed = tolerance * absolute_work + ROUND_OFF * abs(state.energy)
    if not abs(gap) <= allowed:
        raise EnergyBalanceError(state, allowed, gap)
    return replace(state, work=before.work + float(work.sum()), absolute_work=absolute_work)
