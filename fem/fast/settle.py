"""Equilibria of many tubes at given volumes or pressures, by Newton's method from good guesses."""

from __future__ import annotations

import numpy as np

from fem.arrays import Array
from fem.fast.equilibrium import iterate
from fem.fast.states import ON_THE_WAY, Mask, States
from fem.fast.tubes import Tubes
from fem.newton import TOLERANCE

MOST = 8
"""Most iterations; a better guess is to be had by a smaller step."""

ROUGH = 1e-5
"""Error before the last iteration that is enough for states that are only passed."""


def settle(
    tubes: Tubes,
    y: Array,
    pressure: Array | None = None,
    *,
    enough: float = TOLERANCE,
    again: bool = False,
) -> tuple[States, Mask]:
    """Return the equilibria near `y`, shape (3, n), and a mask of those that were found.

    By volume, that is with y[0] kept, where there is no `pressure`. The states bear the numbers of
    the tubes in `tubes`. A search ends with a step from where the error was small `enough`, without
    a look at what is left, which is its square; it is looked at `again` where slopes are wanted as
    exact as the states.
    """
    n = len(tubes)
    count = np.zeros(n, dtype=int)
    for _ in range(MOST):
        found = iterate(tubes, y, pressure)
        y = y + found.step
        count += 1
        if not (found.error > enough).any():  # what is not a number is lost
            break
    good = (found.error <= enough) & found.firm & np.isfinite(y).all(axis=0)
    if again:
        found = iterate(tubes, y, pressure)
    states = States(
        tube=np.arange(n),
        y=y,
        along=found.along,
        pressure=found.pressure if pressure is None else pressure,
        stiffness=found.stiffness,
        stable=found.stable,
        iterations=count,
        role=np.full(n, ON_THE_WAY),
    )
    return states, good
