"""Energy check of many paths: the work of the loads over each step must be stored.

It is the rule of :mod:`fem.continuation.energy_check`, for all steps of all tubes at once.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fem.continuation.batch.states import REST, States
from fem.continuation.energy_check import ENERGY_TOLERANCE, ROUND_OFF
from fem.continuation.work import work_integral
from fem.core.arrays import Array, Index


class Work(NamedTuple):
    """Work of the loads along paths, at each state, shapes (m,).

    Attributes
    ----------
    total, absolute
        Work since the first state, and the sum of its absolute parts.
    excess
        Energy gap of the step to the state, divided by the allowed gap.
    """

    total: Array
    absolute: Array
    excess: Array

    def take(self, index: Index) -> Work:
        """Return the work at the states of an index."""
        return Work(*(part[index] for part in self))

    def joined(self, other: Work) -> Work:
        """Return this work followed by that of other states."""
        return Work(*(np.concatenate(pair) for pair in zip(self, other, strict=True)))

    def gap(self, energy: Array) -> Array:
        """Return the gap between `energy` and work, divided by the absolute work, shape (m,)."""
        loaded = self.absolute > 0
        gap = np.abs(energy - self.total)
        return np.divide(gap, self.absolute, out=np.zeros_like(gap), where=loaded)


def work_along(states: States, from_rest: Array) -> Work:
    """Return the work along paths, from the first state of each.

    Parameters
    ----------
    states
        The states, sorted.
    from_rest
        First requested pressure of each tube, limited by its pressure scale (MPa), shape (n,).
    """
    before, current = states.take(slice(0, -1)), states.take(slice(1, None))
    first = states.first
    steps, absolute = np.zeros(len(states)), np.zeros(len(states))
    steps[1:], absolute[1:] = step_works(before, current)
    steps[first] = absolute[first] = 0.0
    total, absolute = states.cumulative(steps), states.cumulative(absolute)
    gap_ratio = np.zeros(len(states))
    gap_ratio[1:] = excess(before, current, steps[1:], absolute[1:], from_rest[current.tube])
    gap_ratio[first] = 0.0
    return Work(total, absolute, gap_ratio)


def excess(start: States, end: States, work: Array, absolute: Array, from_rest: Array) -> Array:
    """Return the energy gaps of steps, divided by the allowed gaps, shape (m,).

    Parameters
    ----------
    start, end
        Their ends.
    work, absolute
        Work of the step, and absolute work up to its end.
    from_rest
        See :func:`work_along`, shape (m,). The work up to this pressure is larger than that of a
        first step, at least in proportion.
    """
    tolerance = ENERGY_TOLERANCE * np.where(start.role == REST, from_rest / end.pressure, 1.0)
    gap = end.energy - start.energy - work
    return np.abs(gap) / (tolerance * absolute + ROUND_OFF * np.abs(end.energy))


def step_works(start: States, end: States) -> tuple[Array, Array]:
    """Return the work of the loads over steps, and the sum of its absolute parts, shapes (m,).

    The work of the springs is exact.
    """
    pressure_work = work_integral(
        (start.pressure, end.pressure),
        end.volume - start.volume,
        start.stiffness,
        end.stiffness,
        start.role == REST,
    )
    springs = start.end_energy - end.end_energy
    absolute = np.abs(pressure_work) + np.abs(springs).sum(0)
    return pressure_work + springs.sum(0), absolute
