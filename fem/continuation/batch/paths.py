"""The paths of many tubes by pressure, from rest to their ends, and the account of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np

from fem.continuation.batch.ends import beyond, landings, limit_points, tears
from fem.continuation.batch.energy_check import Account, keep_account
from fem.continuation.batch.load_control import march
from fem.continuation.batch.refine import between, doubtful, until
from fem.continuation.batch.states import LIMIT, REST, Mask, States
from fem.continuation.batch.volume_control import Start, walk
from fem.continuation.path import START, TEARS
from fem.continuation.step_size import CUT
from fem.core.arrays import Array, Index
from fem.fast.tubes import Tubes
from fem.fast.wall_stretch import greatest_stretch

EARLY = 1 / 8
"""First step from rest, where threads tighten at once, as a share of the demanded one."""


@dataclass(frozen=True)
class Paths:
    """The paths of tubes that are known for certain, to the last pressure or to their end.

    Attributes
    ----------
    states
        The states, those of a tube together and along its path. A tube without any must be
        followed by itself.
    account
        Their account of work.
    """

    states: States
    account: Account

    def of(self, known: Mask) -> Self:
        """Return the paths of the tubes for which `known`, shape (n,), is true."""
        kept = np.flatnonzero(known[self.states.tube])
        return type(self)(self.states.take(kept), self.account.take(kept))

    def then(self, other: Self) -> Self:
        """Return these paths and others after them."""
        return type(self)(self.states.then(other.states), self.account.then(other.account))


@np.errstate(all="ignore")  # what is not finite is refused wherever it is judged
def follow(tubes: Tubes, pressures: Array) -> Paths:
    """Follow the paths of n tubes from rest through demanded pressures, shape (steps, n)."""
    scale = np.broadcast_to(tubes.law.shear_modulus, len(tubes))
    from_rest = np.minimum(pressures[0], scale)
    asked = np.arange(1 + len(pressures)) >= 1
    trail = march(tubes, np.concatenate([[EARLY * from_rest], pressures]), asked)
    account = keep_account(tubes, trail, from_rest)
    doubt = doubtful(trail, account)
    short = trail.last & (trail.pressure < pressures[-1, trail.tube])
    hard = np.zeros(len(tubes), dtype=bool)
    hard[trail.tube[doubt | short | _torn(tubes, trail)]] = True
    paths = Paths(trail, account).of(~hard)
    if not hard.any():
        return paths
    more, lost = between(tubes, trail, account, doubt, from_rest)
    both = trail.then(more)
    lost = np.append(lost, np.zeros(len(more), dtype=bool)) | _torn(tubes, both)
    chosen = np.flatnonzero(hard[both.tube])
    both, lost = both.take(chosen), lost[chosen]
    order = both.order()
    trail = both.take(order)
    trail = trail.take(until(trail, lost[order]))
    open_ = trail.last & (trail.pressure < pressures[-1, trail.tube])
    short = np.zeros(len(tubes), dtype=bool)
    short[trail.tube[open_]] = True
    whole = trail.take(np.flatnonzero(~short[trail.tube]))
    if len(whole):
        paths = paths.then(Paths(whole, keep_account(tubes, whole, from_rest)))
    if not open_.any():
        return paths
    k = np.flatnonzero(short)
    number = np.cumsum(short) - 1
    trail = trail.take(np.flatnonzero(short[trail.tube]))
    mine = trail.numbered(number[trail.tube])
    others = _to_their_ends(tubes.take(k), mine, pressures[:, k], from_rest[k])
    return paths.then(Paths(others.states.numbered(k[others.states.tube]), others.account))


def _to_their_ends(tubes: Tubes, trail: States, pressures: Array, from_rest: Array) -> Paths:
    """Return the paths of tubes that cannot go on by pressure from the last of their states."""
    ends = np.flatnonzero(trail.last)
    start = _start(tubes, trail, ends, pressures, from_rest)
    walked, sure = walk(tubes, start, from_rest)
    trail = trail.then(walked).in_order()
    trail = _with_ends(tubes, trail.take(np.flatnonzero(sure[trail.tube])), sure)
    landed, good = landings(tubes, trail, pressures)
    sure[landed.tube[~good]] = False
    trail = trail.then(landed).in_order()
    # what was needed only to find the last state
    trail = trail.take(np.flatnonzero(trail.pressure <= pressures[-1, trail.tube]))
    trail = _with_beyond(tubes, trail, sure)
    account = keep_account(tubes, trail, from_rest)
    doubt = ~(account.excess <= 1)
    if doubt.any():  # a thread tightens close to a demanded state
        more, lost = between(tubes, trail, account, doubt, from_rest)
        sure[trail.tube[lost]] = False
        trail = trail.then(more).in_order()
        account = keep_account(tubes, trail, from_rest)
        sure[trail.tube[~(account.excess <= 1)]] = False
    return Paths(trail, account).of(sure)


def _torn(tubes: Tubes, states: States) -> Mask:
    """Return whether the wall would be torn in states, shape (m,)."""
    return greatest_stretch(tubes.take(states.tube), states.y) > TEARS


def _start(tubes: Tubes, trail: States, ends: Index, pressures: Array, from_rest: Array) -> Start:
    """Return where tubes are taken up whose last good states are `ends`."""
    traffic = keep_account(tubes, trail, from_rest).traffic[ends]
    here, before = trail.take(ends), trail.take(np.maximum(ends - 1, 0))
    rest, asked = here.role == REST, pressures[:, here.tube]
    before = before.where(rest, here)
    value = np.where(asked > here.pressure, asked, np.inf).min(axis=0)
    way = np.where(rest, START * from_rest[here.tube], CUT * (value - here.pressure))
    step = way / here.stiffness
    step = np.where(rest, step, np.minimum(step, here.y[0] / 2))
    number = np.arange(len(ends))
    return Start(here.numbered(number), before.numbered(number), traffic, asked[-1], step)


def _with_ends(tubes: Tubes, trail: States, sure: Mask) -> States:
    """Return the paths with limit points and tears in place of the states beyond them."""
    last = np.flatnonzero(trail.last)
    before, end = trail.take(last - 1), trail.take(last)
    for find, beyond_it in (
        (limit_points, lambda end: end.stiffness <= 0),
        (tears, lambda end: _torn(tubes, end)),
    ):
        k = np.flatnonzero(beyond_it(end))
        if k.size:
            found, good = find(tubes.take(end.tube[k]), before.take(k), end.take(k))
            sure[end.tube[k[~good]]] = False
            end = end.put(k, found.numbered(end.tube[k]))
    return trail.take(np.flatnonzero(~trail.last)).then(end).in_order()


def _with_beyond(tubes: Tubes, trail: States, sure: Mask) -> States:
    """Return the paths with some states behind their limit points."""
    limits = trail.take(np.flatnonzero(trail.role == LIMIT))
    if not len(limits):
        return trail
    behind, good = beyond(tubes.take(limits.tube), limits)
    sure[limits.tube[~good]] = False
    return trail.then(*behind).in_order()
