"""Equilibria of many tubes at given volumes or pressures, by Newton's method from good guesses."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fem.continuation.batch.model import BatchModel, Iteration
from fem.continuation.batch.states import BETWEEN, States
from fem.continuation.newton import TOLERANCE
from fem.core.arrays import Array, Mask

MOST = 8
"""Most iterations at a given volume; a smaller step gives a better guess."""

MOST_AT_PRESSURE = 24
"""Most iterations at a given pressure: bisection may have to bring it near."""

ROUGH = 1e-4
"""Sufficient error before the last iteration for states between the requested ones."""

FAIR = 1e-6
"""The same for states at requested pressures, which get one more iteration when they are read."""

NEAR = 1e-2
"""With an error below this at fixed volume, the pressure of the volume can be compared."""


class Search(NamedTuple):
    """Newton's method at given pressures, kept between two volumes.

    Attributes
    ----------
    pressure
        The pressures (MPa), shape (n,).
    low, high
        Volumes at which the pressure is known to be lower and higher, shapes (n,).
    """

    pressure: Array
    low: Array
    high: Array

    def onward(self, x: Array, found: Iteration) -> tuple[Array, Array, Array, Search]:
        """Return the next x, shape (unknowns, n), its volume, the present error, and the search.

        Where Newton's step leaves the interval of volumes, as where a thread tightens in it, the
        next volume is its middle.
        """
        lack, here = self.pressure - found.pressure, found.volume
        known = found.error < NEAR
        low = np.where(known & (lack > 0), np.maximum(self.low, here), self.low)
        high = np.where(known & (lack < 0), np.minimum(self.high, here), self.high)
        way = np.where(known, lack / found.stiffness, 0.0)
        outside = ~((low <= here + way) & (here + way <= high)) & (high < np.inf)
        if outside.any():
            way = np.where(outside, (low + high) / 2 - here, way)
        error = np.maximum(found.error, np.abs(lack) * found.pressure_weight)
        x = x + found.step + way * found.slope
        return x, here + way, error, Search(self.pressure, low, high)


def solve_at_volume(
    model: BatchModel,
    x: Array,
    volume: Array,
    *,
    enough: float = TOLERANCE,
    most: int = MOST,
    again: bool = False,
) -> tuple[States, Mask]:
    """Return the equilibria of n tubes at given volumes, and where they were found.

    The states are numbered as the tubes of `model`. The search ends with the step from a state
    whose error is at most `enough`; the remaining error, about its square, is not evaluated.

    Parameters
    ----------
    model
        n tubes.
    x, volume
        First guesses, shape (unknowns, n), and the volumes, shape (n,), which are not zero.
    enough, most
        Sufficient error before the last step, and the most iterations.
    again
        Whether slopes are evaluated once more at the states themselves.
    """
    count = 0
    for _ in range(most):
        found = model.iterate(x)
        gap = volume - found.volume
        error = np.maximum(found.error, np.abs(gap / volume))
        x = x + found.step + gap * found.slope
        count += 1
        if not (error > enough).any():  # nan counts as not found
            break
    good = (error <= enough) & found.stable_at_fixed_volume & np.isfinite(x).all(axis=0)
    pressure = found.pressure + gap * found.stiffness
    if again:
        found = model.iterate(x)
        pressure = found.pressure
    good &= found.pressure_weight > 0
    return _states(model, x, volume, found, pressure, count), good


def solve_at_pressure(
    model: BatchModel, x: Array, pressure: Array, low: Array, high: Array
) -> tuple[States, Mask]:
    """Return the equilibria at given pressures between two volumes, and where they were found.

    Parameters
    ----------
    model
        n tubes.
    x
        First guesses, shape (unknowns, n).
    pressure, low, high
        See :class:`Search`.
    """
    search, count = Search(pressure, low, high), 0
    for _ in range(MOST_AT_PRESSURE):
        found = model.iterate(x)
        count += 1
        x, volume, error, search = search.onward(x, found)
        if not (error > FAIR).any():
            break
    good = (error <= FAIR) & found.stable & np.isfinite(x).all(axis=0)
    return _states(model, x, volume, found, pressure, count), good


def _states(
    model: BatchModel, x: Array, volume: Array, found: Iteration, pressure: Array, count: int
) -> States:
    """Return the result of a number of iterations as states."""
    n = len(model)
    return States.of(
        found,
        tube=np.arange(n),
        x=x,
        volume=volume,
        pressure=pressure,
        iterations=np.full(n, count),
        role=np.full(n, BETWEEN),
    ).with_energies(model)
