"""Energy check of many paths: the work of the loads over each step must be stored.

The same rule as on one path (:mod:`fem.continuation.energy_check`), for all steps of all tubes at
once.
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
        Energy gap of the step to the state, as a multiple of the allowed one.
    """

    total: Array
    absolute: Array
    excess: Array

    def take(self, index: Index) -> Work:
        """Return the work at the states of these numbers."""
        return Work(*(part[index] for part in self))

    def then(self, other: Work) -> Work:
        """Return this work and that of other states after it."""
        return Work(*(np.concatenate(pair) for pair in zip(self, other, strict=True)))

    def gap(self, energy: Array) -> Array:
        """Return the work that is not found in the `energy`, as a share of all of it, (m,)."""
        moved = self.absolute > 0
        missing = np.abs(energy - self.total)
        return np.divide(missing, self.absolute, out=np.zeros_like(missing), where=moved)


def work_along(states: States, from_rest: Array) -> Work:
    """Return the work along paths, each from its first state.

    Parameters
    ----------
    states
        The states in order.
    from_rest
        First requested pressure of each tube (MPa), not above its pressure scale, shape (n,).
    """
    before, here = states.take(slice(0, -1)), states.take(slice(1, None))
    first = states.first
    steps, absolute = np.zeros(len(states)), np.zeros(len(states))
    steps[1:], absolute[1:] = step_works(before, here)
    steps[first] = absolute[first] = 0.0
    total, absolute = states.since_first(steps), states.since_first(absolute)
    over = np.zeros(len(states))
    over[1:] = excess(before, here, steps[1:], absolute[1:], from_rest[here.tube])
    over[first] = 0.0
    return Work(total, absolute, over)


def excess(start: States, end: States, work: Array, absolute: Array, from_rest: Array) -> Array:
    """Return the energy gaps of steps as multiples of the allowed ones, shape (m,).

    Parameters
    ----------
    start, end
        Their ends.
    work, absolute
        Work of the step, and the absolute work up to its end.
    from_rest
        See :func:`work_along`, shape (m,). After a first step more work is to come, at least in
        proportion.
    """
    share = ENERGY_TOLERANCE * np.where(start.role == REST, from_rest / end.pressure, 1.0)
    gained = end.energy - start.energy - work
    return np.abs(gained) / (share * absolute + ROUND_OFF * np.abs(end.energy))


def step_works(start: States, end: States) -> tuple[Array, Array]:
    """Return the work of the loads over steps, and the sum of its absolute parts, shapes (m,).

    The work of the springs is exact.
    """
    push = work_integral(
        (start.pressure, end.pressure),
        end.volume - start.volume,
        start.stiffness,
        end.stiffness,
        start.role == REST,
    )
    springs = start.end_energy - end.end_energy
    return push + springs.sum(0), np.abs(push) + np.abs(springs).sum(0)
