"""Equilibria of many tubes at given volumes or pressures, by Newton's method."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fem.continuation.batch.model import BatchModel, Iteration
from fem.continuation.batch.states import INTERMEDIATE, States
from fem.continuation.newton import TOLERANCE
from fem.core.arrays import Array, Mask

MAX_ITERATIONS = 8
"""Most iterations at a given volume; if they fail, a smaller step gives a better guess."""

MAX_ITERATIONS_AT_PRESSURE = 24
"""Most iterations at a given pressure, which may include bisections."""

ROUGH_TOLERANCE = 1e-4
"""Error before the last iteration that suffices for states between the requested ones."""

PRESSURE_TOLERANCE = 1e-6
"""The same for states at requested pressures, which get one more iteration in fem.fast.outputs."""

NEAR_EQUILIBRIUM = 1e-2
"""Below this error at fixed volume, the pressure decides on which side the root lies."""


class PressureSearch(NamedTuple):
    """Newton's method at given pressures, bracketed by two volumes.

    Attributes
    ----------
    pressure
        The pressures (MPa), shape (n,).
    low, high
        Volumes where the pressure is known to be lower and higher, shapes (n,).
    """

    pressure: Array
    low: Array
    high: Array

    def update(self, x: Array, found: Iteration) -> tuple[Array, Array, Array, PressureSearch]:
        """Return the next x, shape (unknowns, n), its volume, the error at x, and the new search.

        Where Newton's step leaves the bracket, as where a thread tightens in it, the next volume is
        its midpoint.
        """
        gap, current = self.pressure - found.pressure, found.volume
        known = found.error < NEAR_EQUILIBRIUM
        low = np.where(known & (gap > 0), np.maximum(self.low, current), self.low)
        high = np.where(known & (gap < 0), np.minimum(self.high, current), self.high)
        change = np.where(known, gap / found.stiffness, 0.0)
        outside = ~((low <= current + change) & (current + change <= high)) & (high < np.inf)
        if outside.any():
            change = np.where(outside, (low + high) / 2 - current, change)
        error = np.maximum(found.error, np.abs(gap) * found.pressure_weight)
        x = x + found.step + change * found.slope
        return x, current + change, error, PressureSearch(self.pressure, low, high)


def solve_at_volume(
    model: BatchModel,
    x: Array,
    volume: Array,
    *,
    tolerance: float = TOLERANCE,
    max_iterations: int = MAX_ITERATIONS,
    reevaluate: bool = False,
) -> tuple[States, Mask]:
    """Return the equilibria of n tubes at given volumes, and a mask of those found.

    The states have the numbers of the tubes of `model`. The last iteration starts from a state
    whose error is at most `tolerance`; the remaining error, about its square, is not evaluated.

    Parameters
    ----------
    model
        n tubes.
    x, volume
        First guesses, shape (unknowns, n), and the volumes, shape (n,), which are not zero.
    tolerance, max_iterations
        Sufficient error before the last iteration, and the most iterations.
    reevaluate
        Evaluate the slopes once more, at the states themselves.
    """
    count = 0
    for _ in range(max_iterations):
        found = model.iterate(x)
        gap = volume - found.volume
        error = np.maximum(found.error, np.abs(gap / volume))
        x = x + found.step + gap * found.slope
        count += 1
        if not (error > tolerance).any():  # nan ends the loop, and fails below
            break
    good = (error <= tolerance) & found.stable_at_fixed_volume & np.isfinite(x).all(axis=0)
    pressure = found.pressure + gap * found.stiffness
    if reevaluate:
        found = model.iterate(x)
        pressure = found.pressure
    good &= found.pressure_weight > 0
    return _states(model, x, volume, found, pressure, count), good


def solve_at_pressure(
    model: BatchModel, x: Array, pressure: Array, low: Array, high: Array
) -> tuple[States, Mask]:
    """Return the equilibria at given pressures between two volumes, and a mask of those found.

    Parameters
    ----------
    model
        n tubes.
    x
        First guesses, shape (unknowns, n).
    pressure, low, high
        See :class:`PressureSearch`.
    """
    search, count = PressureSearch(pressure, low, high), 0
    for _ in range(MAX_ITERATIONS_AT_PRESSURE):
        found = model.iterate(x)
        count += 1
        x, volume, error, search = search.update(x, found)
        if not (error > PRESSURE_TOLERANCE).any():
            break
    good = (error <= PRESSURE_TOLERANCE) & found.stable & np.isfinite(x).all(axis=0)
    return _states(model, x, volume, found, pressure, count), good


def _states(
    model: BatchModel, x: Array, volume: Array, found: Iteration, pressure: Array, count: int
) -> States:
    """Return the result of the last iteration as states."""
    n = len(model)
    return States.of(
        found,
        tube=np.arange(n),
        x=x,
        volume=volume,
        pressure=pressure,
        iterations=np.full(n, count),
        role=np.full(n, INTERMEDIATE),
    ).with_energies(model)
