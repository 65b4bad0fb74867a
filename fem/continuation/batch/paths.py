"""The paths of many tubes by pressure, from rest to their ends, and the work along each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np

from fem.continuation.batch.ends import at_pressures, beyond, limit_points, tears, torn
from fem.continuation.batch.energy_check import Work, work_along
from fem.continuation.batch.load_control import by_pressure
from fem.continuation.batch.model import BatchModel
from fem.continuation.batch.refine import between, doubtful
from fem.continuation.batch.states import LIMIT, REST, States
from fem.continuation.batch.volume_control import Start, by_volume
from fem.continuation.path import FIRST_STEP
from fem.continuation.stepper import STEP_REDUCTION
from fem.core.arrays import Array, Index, Mask

FIRST_PRESSURE = 1 / 8
"""First step from rest, where threads tighten at once, as a share of the requested one."""


@dataclass(frozen=True)
class Paths:
    """The paths of tubes that are known for certain, to the last pressure or to their end.

    Attributes
    ----------
    states
        The states, those of a tube adjacent and in order along its path. A tube without any must
        be solved alone.
    work
        The work along them.
    """

    states: States
    work: Work

    def of(self, known: Mask) -> Self:
        """Return the paths of the tubes for which `known`, shape (n,), is true."""
        kept = np.flatnonzero(known[self.states.tube])
        return type(self)(self.states.take(kept), self.work.take(kept))

    def then(self, other: Self) -> Self:
        """Return these paths and others after them."""
        return type(self)(self.states.then(other.states), self.work.then(other.work))


@np.errstate(all="ignore")  # values that are not finite are rejected where they are checked
def follow(model: BatchModel, pressures: Array) -> Paths:
    """Follow the paths of n tubes from rest through requested pressures, shape (steps, n)."""
    from_rest = np.minimum(pressures[0], model.pressure_scale)
    requested = np.arange(1 + len(pressures)) >= 1
    path = by_pressure(model, np.concatenate([[FIRST_PRESSURE * from_rest], pressures]), requested)
    work = work_along(path, from_rest)
    doubt = doubtful(path, work)
    short = path.last & (path.pressure < pressures[-1, path.tube])
    hard = np.zeros(len(model), dtype=bool)
    hard[path.tube[doubt | short | _torn(model, path)]] = True
    paths = Paths(path, work).of(~hard)
    if not hard.any():
        return paths
    more, lost = between(model, path, work, doubt, from_rest)
    both = path.then(more)
    lost = np.append(lost, np.zeros(len(more), dtype=bool)) | _torn(model, both)
    chosen = np.flatnonzero(hard[both.tube])
    both, lost = both.take(chosen), lost[chosen]
    order = both.order()
    path = both.take(order)
    path = path.take(np.flatnonzero(path.since_first(lost[order]) == 0))  # before the first lost
    open_ = path.last & (path.pressure < pressures[-1, path.tube])
    short = np.zeros(len(model), dtype=bool)
    short[path.tube[open_]] = True
    whole = path.take(np.flatnonzero(~short[path.tube]))
    if len(whole):
        paths = paths.then(Paths(whole, work_along(whole, from_rest)))
    if not open_.any():
        return paths
    k = np.flatnonzero(short)
    number = np.cumsum(short) - 1
    path = path.take(np.flatnonzero(short[path.tube]))
    mine = path.numbered(number[path.tube])
    others = _to_their_ends(model.take(k), mine, pressures[:, k], from_rest[k])
    return paths.then(Paths(others.states.numbered(k[others.states.tube]), others.work))


def _to_their_ends(model: BatchModel, path: States, pressures: Array, from_rest: Array) -> Paths:
    """Return the paths of tubes that cannot go on by pressure from the last of their states."""
    start = _start(path, np.flatnonzero(path.last), pressures, from_rest)
    further, sure = by_volume(model, start, from_rest)
    path = path.then(further).in_order()
    path = _with_ends(model, path.take(np.flatnonzero(sure[path.tube])), sure)
    reached, good = at_pressures(model, path, pressures)
    sure[reached.tube[~good]] = False
    path = path.then(reached).in_order()
    # without those that were needed only to find the last state
    path = path.take(np.flatnonzero(path.pressure <= pressures[-1, path.tube]))
    path = _with_beyond(model, path, sure)
    work = work_along(path, from_rest)
    doubt = ~(work.excess <= 1)
    if doubt.any():  # a thread tightens close to a requested state
        more, lost = between(model, path, work, doubt, from_rest)
        sure[path.tube[lost]] = False
        path = path.then(more).in_order()
        work = work_along(path, from_rest)
        sure[path.tube[~(work.excess <= 1)]] = False
    return Paths(path, work).of(sure)


def _torn(model: BatchModel, states: States) -> Mask:
    """Return whether the wall would be torn in states of any of n tubes, shape (m,)."""
    return torn(model.take(states.tube), states)


def _start(path: States, ends: Index, pressures: Array, from_rest: Array) -> Start:
    """Return where tubes are taken up whose last good states are `ends`."""
    absolute = work_along(path, from_rest).absolute[ends]
    here, before = path.take(ends), path.take(np.maximum(ends - 1, 0))
    rest, requested = here.role == REST, pressures[:, here.tube]
    before = before.where(rest, here)
    value = np.where(requested > here.pressure, requested, np.inf).min(axis=0)
    way = np.where(
        rest, FIRST_STEP * from_rest[here.tube], STEP_REDUCTION * (value - here.pressure)
    )
    step = way / here.stiffness
    step = np.where(rest, step, np.minimum(step, here.volume / 2))
    number = np.arange(len(ends))
    return Start(here.numbered(number), before.numbered(number), absolute, requested[-1], step)


def _with_ends(model: BatchModel, path: States, sure: Mask) -> States:
    """Return the paths with limit points and tears in place of the states beyond them."""
    last = np.flatnonzero(path.last)
    before, end = path.take(last - 1), path.take(last)
    for find, beyond_it in (
        (limit_points, lambda end: end.stiffness <= 0),
        (tears, lambda end: _torn(model, end)),
    ):
        k = np.flatnonzero(beyond_it(end))
        if k.size:
            found, good = find(model.take(end.tube[k]), before.take(k), end.take(k))
            sure[end.tube[k[~good]]] = False
            end = end.put(k, found.numbered(end.tube[k]))
    return path.take(np.flatnonzero(~path.last)).then(end).in_order()


def _with_beyond(model: BatchModel, path: States, sure: Mask) -> States:
    """Return the paths with some states beyond their limit points."""
    limits = path.take(np.flatnonzero(path.role == LIMIT))
    if not len(limits):
        return path
    behind, good = beyond(model.take(limits.tube), limits)
    sure[limits.tube[~good]] = False
    return path.then(*behind).in_order()
