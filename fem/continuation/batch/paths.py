"""The paths of many tubes under pressure, from rest to their ends, with the work of the loads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np

from fem.continuation.batch.ends import (
    limit_points,
    overstretched,
    states_at_pressures,
    states_beyond,
    stretch_limits,
)
from fem.continuation.batch.energy_check import Work, work_along
from fem.continuation.batch.load_control import follow_by_pressure
from fem.continuation.batch.model import BatchModel
from fem.continuation.batch.refine import inserted_states, needs_refinement
from fem.continuation.batch.states import LIMIT, REST, States
from fem.continuation.batch.volume_control import Start, follow_by_volume
from fem.continuation.path import FIRST_STEP
from fem.continuation.stepper import STEP_REDUCTION
from fem.core.arrays import Array, Index, Mask

FIRST_PRESSURE = 1 / 8
"""First step from rest, where threads tighten at once, as a fraction of the requested one."""


@dataclass(frozen=True)
class Paths:
    """The paths of tubes whose steps all passed the checks, to the last pressure or to their end.

    Attributes
    ----------
    states
        The states, sorted by tube and along each path. A tube without states must be solved as a
        single case.
    work
        The work along them.
    """

    states: States
    work: Work

    def of(self, tubes: Mask) -> Self:
        """Return the paths of the tubes of a mask, shape (n,)."""
        kept = np.flatnonzero(tubes[self.states.tube])
        return type(self)(self.states.take(kept), self.work.take(kept))

    def joined(self, other: Self) -> Self:
        """Return these paths followed by others."""
        return type(self)(self.states.joined(other.states), self.work.joined(other.work))


@np.errstate(all="ignore")  # values that are not finite are rejected where they are checked
def follow(model: BatchModel, pressures: Array) -> Paths:
    """Follow the paths of n tubes from rest through requested pressures, shape (steps, n)."""
    from_rest = np.minimum(pressures[0], model.pressure_scale)
    requested = np.arange(1 + len(pressures)) >= 1
    all_pressures = np.concatenate([[FIRST_PRESSURE * from_rest], pressures])
    path = follow_by_pressure(model, all_pressures, requested)
    work = work_along(path, from_rest)
    doubtful = needs_refinement(path, work)
    short = path.last & (path.pressure < pressures[-1, path.tube])
    unfinished = np.zeros(len(model), dtype=bool)
    unfinished[path.tube[doubtful | short | _overstretched(model, path)]] = True
    paths = Paths(path, work).of(~unfinished)
    if not unfinished.any():
        return paths
    more, failed = inserted_states(model, path, work, doubtful, from_rest)
    both = path.joined(more)
    failed = np.append(failed, np.zeros(len(more), dtype=bool)) | _overstretched(model, both)
    chosen = np.flatnonzero(unfinished[both.tube])
    both, failed = both.take(chosen), failed[chosen]
    order = both.sort_order()
    path = both.take(order)
    valid = path.cumulative(failed[order]) == 0  # before the first failed one
    path = path.take(np.flatnonzero(valid))
    open_ = path.last & (path.pressure < pressures[-1, path.tube])
    short = np.zeros(len(model), dtype=bool)
    short[path.tube[open_]] = True
    complete = path.take(np.flatnonzero(~short[path.tube]))
    if len(complete):
        paths = paths.joined(Paths(complete, work_along(complete, from_rest)))
    if not open_.any():
        return paths
    k = np.flatnonzero(short)
    number = np.cumsum(short) - 1
    path = path.take(np.flatnonzero(short[path.tube]))
    renumbered = path.with_tube(number[path.tube])
    remaining = _to_their_ends(model.take(k), renumbered, pressures[:, k], from_rest[k])
    return paths.joined(Paths(remaining.states.with_tube(k[remaining.states.tube]), remaining.work))


def _to_their_ends(model: BatchModel, path: States, pressures: Array, from_rest: Array) -> Paths:
    """Return the paths of tubes for which load control fails after their last state."""
    start = _start(path, np.flatnonzero(path.last), pressures, from_rest)
    further, certain = follow_by_volume(model, start, from_rest)
    path = path.joined(further).sorted()
    path = _with_ends(model, path.take(np.flatnonzero(certain[path.tube])), certain)
    reached, good = states_at_pressures(model, path, pressures)
    certain[reached.tube[~good]] = False
    path = path.joined(reached).sorted()
    # without states that only served to find the last one
    path = path.take(np.flatnonzero(path.pressure <= pressures[-1, path.tube]))
    path = _with_beyond(model, path, certain)
    work = work_along(path, from_rest)
    doubtful = ~(work.excess <= 1)
    if doubtful.any():  # a thread tightens close to a requested state
        more, failed = inserted_states(model, path, work, doubtful, from_rest)
        certain[path.tube[failed]] = False
        path = path.joined(more).sorted()
        work = work_along(path, from_rest)
        certain[path.tube[~(work.excess <= 1)]] = False
    return Paths(path, work).of(certain)


def _overstretched(model: BatchModel, states: States) -> Mask:
    """Return whether the wall is beyond the stretch limit in states of n tubes, shape (m,)."""
    return overstretched(model.take(states.tube), states)


def _start(path: States, ends: Index, pressures: Array, from_rest: Array) -> Start:
    """Return the start values of volume control after the states `ends`."""
    absolute = work_along(path, from_rest).absolute[ends]
    state, before = path.take(ends), path.take(np.maximum(ends - 1, 0))
    rest, requested = state.role == REST, pressures[:, state.tube]
    before = before.where(rest, state)
    value = np.where(requested > state.pressure, requested, np.inf).min(axis=0)
    first, other = FIRST_STEP * from_rest[state.tube], STEP_REDUCTION * (value - state.pressure)
    step = np.where(rest, first, other) / state.stiffness
    step = np.where(rest, step, np.minimum(step, state.volume / 2))
    number = np.arange(len(ends))
    return Start(state.with_tube(number), before.with_tube(number), absolute, requested[-1], step)


def _with_ends(model: BatchModel, path: States, certain: Mask) -> States:
    """Return the paths with limit points and stretch limits in place of the states beyond them."""
    last = np.flatnonzero(path.last)
    before, end = path.take(last - 1), path.take(last)
    for find, is_beyond in (
        (limit_points, lambda end: end.stiffness <= 0),
        (stretch_limits, lambda end: _overstretched(model, end)),
    ):
        k = np.flatnonzero(is_beyond(end))
        if k.size:
            found, good = find(model.take(end.tube[k]), before.take(k), end.take(k))
            certain[end.tube[k[~good]]] = False
            end = end.put(k, found.with_tube(end.tube[k]))
    return path.take(np.flatnonzero(~path.last)).joined(end).sorted()


def _with_beyond(model: BatchModel, path: States, certain: Mask) -> States:
    """Return the paths with states beyond their limit points."""
    limits = path.take(np.flatnonzero(path.role == LIMIT))
    if not len(limits):
        return path
    beyond, good = states_beyond(model.take(limits.tube), limits)
    certain[limits.tube[~good]] = False
    return path.joined(*beyond).sorted()
