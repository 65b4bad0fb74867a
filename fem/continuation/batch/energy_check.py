"""The account of many paths: the work of each step must be found in the stored energy.

The same rule as on one path (:mod:`fem.continuation.energy_check`), for all steps of all tubes at
once.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fem.continuation.batch.states import REST, States
from fem.continuation.energy_check import ROUND_OFF, STORED
from fem.continuation.work import integral
from fem.core.arrays import Array, Index
from fem.fast.tubes import Tubes


class Account(NamedTuple):
    """Energies over pi B^2 L (MPa) to each state, shapes (m,).

    Attributes
    ----------
    work, traffic
        Work of the loads since rest, and its sum without regard to signs.
    excess
        Gap of the step to the state, as a multiple of what is allowed.
    """

    work: Array
    traffic: Array
    excess: Array

    def take(self, index: Index) -> Account:
        """Return the account of the states of these numbers."""
        return Account(*(part[index] for part in self))

    def then(self, other: Account) -> Account:
        """Return this account and another after it."""
        return Account(*(np.concatenate(pair) for pair in zip(self, other, strict=True)))

    def gap(self, stored: Array) -> Array:
        """Return the part of the work that is not stored, as a share of all of it, shape (m,)."""
        moved = self.traffic > 0
        missing = np.abs(stored - self.work)
        return np.divide(missing, self.traffic, out=np.zeros_like(missing), where=moved)


def keep_account(tubes: Tubes, states: States, from_rest: Array) -> Account:
    """Return the account of paths in order, each from its rest on.

    Parameters
    ----------
    tubes
        n tubes.
    states
        The states, those of a tube together and along its path.
    from_rest
        The way from rest to the first demanded pressure (MPa), as far as it is not vast, shape
        (n,).
    """
    end = np.arange(1, len(states))
    before, here = states.take(end - 1), states.take(end)
    first = states.first
    steps, ways = np.zeros(len(states)), np.zeros(len(states))
    steps[1:], ways[1:] = step_works(tubes.springs[:, here.tube], before, here)
    steps[first] = ways[first] = 0.0
    begins = np.maximum.accumulate(np.where(first, np.arange(len(states)), 0))
    work, traffic = _since(begins, steps), _since(begins, ways)
    over = np.zeros(len(states))
    over[1:] = excess(before, here, steps[1:], traffic[1:], from_rest[here.tube])
    over[first] = 0.0
    return Account(work, traffic, over)


def excess(start: States, end: States, work: Array, traffic: Array, from_rest: Array) -> Array:
    """Return the gaps of steps as multiples of what is allowed, shape (m,).

    Parameters
    ----------
    start, end
        Their ends.
    work, traffic
        The work, and the traffic up to the end (MPa).
    from_rest
        As of :func:`keep_account`, shape (m,). After a first step more work is to come, at least
        in proportion.
    """
    share = STORED * np.where(start.role == REST, from_rest / end.pressure, 1.0)
    gained = end.stored - start.stored - work
    return np.abs(gained) / (share * traffic + ROUND_OFF * np.abs(end.stored))


def step_works(springs: Array, start: States, end: States) -> tuple[Array, Array]:
    """Return the work of the loads over steps, and its sum without regard to signs, shapes (m,).

    The springs, whose rates have the shape (2, m), do theirs exactly.
    """
    push = integral(
        (start.pressure, end.pressure),
        end.y[0] - start.y[0],
        start.stiffness,
        end.stiffness,
        start.role == REST,
    )
    theirs = -springs * (end.y[1:] ** 2 - start.y[1:] ** 2) / 2
    return push + theirs.sum(0), np.abs(push) + np.abs(theirs).sum(0)


def _since(begins: Index, steps: Array) -> Array:
    """Return the sums of `steps` since the beginning of each path."""
    total = np.cumsum(steps)
    return np.asarray(total - total[begins])
