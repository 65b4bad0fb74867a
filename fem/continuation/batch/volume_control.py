"""Volume control of many tubes, from where load control fails to the end of their paths.

The volume also grows through limit points and where the tube is very compliant; at fixed volume
nothing is singular. The step length follows the energy check. A path ends beyond the last requested
pressure, where the pressure falls, or beyond the stretch limit.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fem.continuation.batch.ends import overstretched
from fem.continuation.batch.energy_check import excess, step_works
from fem.continuation.batch.model import BatchModel
from fem.continuation.batch.refine import volume_to_limit
from fem.continuation.batch.solve import ROUGH_TOLERANCE, solve_at_volume
from fem.continuation.batch.states import REST, States, predicted
from fem.continuation.path import MAX_EXTRAPOLATION
from fem.continuation.stepper import STEP_REDUCTION
from fem.core.arrays import Array, Mask

MAX_STEPS = 200
"""Most steps of a tube, including unsuccessful ones; with more it is solved as a single case."""

MAX_GROWTH = 4.0
"""Largest ratio of a step to the one before."""

SAFETY, ORDER = 0.8, 3
"""The next step is this fraction of the length at which the energy gap would equal the allowed one;
the gap is at least of this order in the step length."""


class Start(NamedTuple):
    """Start values of volume control.

    Attributes
    ----------
    state, before
        The last states and those before, in the order of the tubes; at rest both are the same.
    absolute
        Absolute work so far, shape (n,).
    target
        Last requested pressure (MPa), shape (n,).
    step
        First change of volume, shape (n,).
    """

    state: States
    before: States
    absolute: Array
    target: Array
    step: Array


def follow_by_volume(model: BatchModel, start: Start, from_rest: Array) -> tuple[States, Mask]:
    """Return the states along the paths, and whether each path came to its end.

    The last state of a tube is the first one beyond the last pressure, with falling pressure, or
    beyond the stretch limit.
    """
    state, before, absolute, target, step = start
    number, part = np.arange(len(model)), model
    found_states, ended = [state.take(number[:0])], np.zeros(len(model), dtype=bool)
    for _ in range(MAX_STEPS):
        if not number.size:
            break
        new, found = _solve(part, state, before, step)
        work, absolute_step = step_works(state, new)
        gap_ratio = excess(state, new, work, absolute + absolute_step, from_rest[number])
        accepted = found & (gap_ratio <= 1)
        factor = np.where(
            found, SAFETY * np.maximum(gap_ratio, 1e-9) ** (-1 / ORDER), STEP_REDUCTION
        )
        step = step * np.clip(factor, 0.1, MAX_GROWTH)
        if accepted.any():
            k = np.flatnonzero(accepted)
            found_states.append(new.take(k).with_tube(number[k]))
            absolute = absolute + np.where(accepted, absolute_step, 0.0)
            before, state = before.where(accepted, state), state.where(accepted, new)
            at_end = accepted & (
                (state.pressure >= target) | (state.stiffness <= 0) | overstretched(part, state)
            )
            ended[number[at_end]] = True
            if at_end.any():
                k = np.flatnonzero(~at_end)
                number, part, state, before = number[k], part.take(k), state.take(k), before.take(k)
                absolute, step, target = absolute[k], step[k], target[k]
        ahead = np.minimum(
            (target - state.pressure) / state.stiffness, volume_to_limit(before, state)
        )
        step = np.where(state.role == REST, step, np.minimum(step, MAX_EXTRAPOLATION * ahead))
    return found_states[0].joined(*found_states[1:]), ended


def _solve(model: BatchModel, state: States, before: States, step: Array) -> tuple[States, Mask]:
    """Return the equilibria after a `step` of the volume, and a mask of those found."""
    volume = state.volume + step
    linear = state.x + step * state.slope
    from_rest = (before.role == REST) | (before.volume == state.volume)
    guess = np.where(from_rest, linear, predicted(before, state, volume))
    return solve_at_volume(model, guess, volume, tolerance=ROUGH_TOLERANCE)
