"""The account of the path: what the loads do along a step must be found in the stored energy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fem.continuation.state import State
from fem.continuation.work import step_work
from fem.core.arrays import Array

ENERGY_TOLERANCE = 7e-4
"""Greatest share of all the work so far that may be missing in the energy after one step.

Found by trial: whole paths of 300 random cases then stay below 1e-3.
"""

ROUGH_ENERGY_TOLERANCE = 0.05
"""The same for stages that are not shown and kept no account of."""

ROUND_OFF = 1e-9
"""Share of the stored energy that is not counted as missing."""

JUMP_RATIO = 10
"""A step is one to another branch if it sets so many times more free than may be missing."""


class EnergyBalanceError(ArithmeticError):
    """The work of a step is not found in the stored energy: the path was left on the way.

    Attributes
    ----------
    state
        The state at its end.
    cut
        By what the step should be multiplied; the gap goes with its third power at least.
    snaps
        Whether so much is set free that it leads to another branch.
    """

    def __init__(self, state: State, allowed: float, gained: float) -> None:
        super().__init__("the work of a step is not stored")
        self.state = state
        self.cut = float(np.clip(0.9 * (allowed / abs(gained)) ** (1 / 3), 0.1, 0.6))
        self.jumps_branch = gained < -JUMP_RATIO * allowed


def with_work(before: State, state: State, scale: Array, share: float) -> State:
    """Return `state` with the work on the way to it.

    Parameters
    ----------
    before, state
        The ends of a step.
    scale
        Sizes of the coordinates, shape (3,): mm3, mm, rad.
    share
        Greatest share of all the work so far that may be missing.

    Raises
    ------
    EnergyBalanceError
        If more is missing, or gained.
    """
    work = step_work(before, state, scale)
    absolute_work = before.absolute_work + float(np.abs(work).sum())
    gained = state.energy - before.energy - float(work.sum())
    allowed = share * absolute_work + ROUND_OFF * abs(state.energy)
    if not abs(gained) <= allowed:
        raise EnergyBalanceError(state, allowed, gained)
    return replace(state, work=before.work + float(work.sum()), absolute_work=absolute_work)
