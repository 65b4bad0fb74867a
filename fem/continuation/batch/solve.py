"""Equilibria of many tubes at given volumes or pressures, by Newton's method from good guesses."""

from __future__ import annotations

import numpy as np

from fem.continuation.batch.newton import Iteration, Search, iterate
from fem.continuation.batch.states import ON_THE_WAY, Mask, States
from fem.continuation.newton import TOLERANCE
from fem.core.arrays import Array
from fem.fast.potential import energy
from fem.fast.tubes import Tubes

MOST = 8
"""Most iterations; a better guess is to be had by a smaller step."""

MOST_AT = 24
"""Most iterations for a given pressure: halving may have to bring it near."""

ROUGH = 1e-4
"""Error before the last iteration that is enough for states that are only passed."""

FAIR = 1e-6
"""The same for states at demanded pressures, which get one more iteration when they are read."""


def settle(
    tubes: Tubes,
    y: Array,
    *,
    enough: float = TOLERANCE,
    most: int = MOST,
    again: bool = False,
) -> tuple[States, Mask]:
    """Return the equilibria of n tubes at the volumes of `y`, shape (3, n), and where found.

    The states bear the numbers of the tubes in `tubes`. A search ends with a step from where the
    error was small `enough`, without a look at what is left, which is its square; it is looked at
    `again` where slopes are wanted as exact as the states. `most` iterations are made.
    """
    count = 0
    for _ in range(most):
        found = iterate(tubes, y)
        y = y + found.step
        count += 1
        if not (found.error > enough).any():  # what is not a number is lost
            break
    good = (found.error <= enough) & found.firm & np.isfinite(y).all(axis=0)
    if again:
        found = iterate(tubes, y)
    return _states(tubes, y, found, found.pressure, count), good & (found.bore > 0)


def settle_at(
    tubes: Tubes, y: Array, pressure: Array, low: Array, high: Array
) -> tuple[States, Mask]:
    """Return the equilibria at given pressures between two volumes, and where they were found.

    Parameters
    ----------
    tubes
        n tubes.
    y
        First guesses, shape (3, n).
    pressure, low, high
        As of :class:`fem.continuation.batch.newton.Search`.
    """
    search, count = Search(pressure, low, high), 0
    for _ in range(MOST_AT):
        found = iterate(tubes, y)
        count += 1
        y, error, search = search.onward(y, found)
        if not (error > FAIR).any():
            break
    good = (error <= FAIR) & found.stable & np.isfinite(y).all(axis=0)
    return _states(tubes, y, found, pressure, count), good


def _states(tubes: Tubes, y: Array, found: Iteration, pressure: Array, count: int) -> States:
    """Return what was found after so many iterations as states."""
    n = y.shape[1]
    return States(
        tube=np.arange(n),
        y=y,
        along=found.along,
        pressure=pressure,
        stiffness=found.stiffness,
        stored=energy(tubes, y),
        stable=found.stable,
        iterations=np.full(n, count),
        role=np.full(n, ON_THE_WAY),
    )
