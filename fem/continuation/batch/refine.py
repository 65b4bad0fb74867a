"""Refinement of paths: states are inserted until every step passes the checks.

A step may miss a limit point if its work is not stored
(:mod:`fem.continuation.batch.energy_check`), or if the stiffness, extrapolated from the two states
before, vanishes within the step: the pressure may fall there and rise again. A state is inserted at
half the change of volume, and both halves are checked again.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fem.continuation.batch.energy_check import Work, excess, step_works
from fem.continuation.batch.model import BatchModel
from fem.continuation.batch.solve import ROUGH_TOLERANCE, solve_at_volume
from fem.continuation.batch.states import REST, States, predicted
from fem.core.arrays import Array, Index, Mask

MAX_REFINEMENTS = 4
"""Most bisections of a step; where they do not suffice, the path is cut off."""


def needs_refinement(path: States, work: Work) -> Mask:
    """Return whether the step to each state may miss a limit point, shape (m,)."""
    refine = ~(work.excess <= 1)
    before, start, end = (path.take(slice(k, len(path) - 2 + k)) for k in range(3))
    limit_ahead = volume_to_limit(before, start) < end.volume - start.volume
    refine[2:] |= limit_ahead & (before.tube == end.tube)
    return refine & ~path.first


def volume_to_limit(before: States, current: States) -> Array:
    """Return the change of volume to zero stiffness, extrapolated; inf if it does not fall.

    The slope at rest, which may be valid for a very short step only, is not extrapolated.
    """
    fall = before.stiffness - current.stiffness
    change = current.stiffness * (current.volume - before.volume) / fall
    falls = (current.stiffness > 0) & (fall > 0) & (before.role != REST)
    return np.where(falls, change, np.inf)


class Steps(NamedTuple):
    """Steps of paths, each from a state `start`, preceded by `before`, to a state `end`.

    `absolute` is the absolute work up to the start, and `origin` the number of the original step;
    shapes (m,).
    """

    before: States
    start: States
    end: States
    absolute: Array
    origin: Index

    def take(self, index: Index) -> Steps:
        """Return the steps of an index."""
        before, start, end = (part.take(index) for part in (self.before, self.start, self.end))
        return Steps(before, start, end, self.absolute[index], self.origin[index])


def inserted_states(
    model: BatchModel, path: States, work: Work, refine: Mask, from_rest: Array
) -> tuple[States, Mask]:
    """Return the states to be inserted, and a mask of the states whose steps failed.

    Parameters
    ----------
    model
        n tubes.
    path, work, from_rest
        See :func:`fem.continuation.batch.energy_check.work_along`.
    refine
        Which steps to refine, shape (m,); see :func:`needs_refinement`.
    """
    origin = np.flatnonzero(refine)
    start = origin - 1
    steps = Steps(
        path.take(np.where(path.first[start], start, start - 1)),
        path.take(start),
        path.take(origin),
        work.absolute[start],
        origin,
    )
    found: list[States] = [path.take(origin[:0])]
    origins: list[Index] = [origin[:0]]
    failed = np.zeros(len(path), dtype=bool)
    for _ in range(MAX_REFINEMENTS):
        if not len(steps.origin):
            break
        tubes = model.take(steps.end.tube)
        middle, good = _halfway(tubes, steps)
        failed[steps.origin[~good]] = True
        k = np.flatnonzero(good)
        found.append(middle.take(k))
        origins.append(steps.origin[k])
        steps = _halves(steps.take(k), middle.take(k), from_rest)
    failed[steps.origin] = True
    valid = np.flatnonzero(~failed[np.concatenate(origins)])
    return found[0].joined(*found[1:]).take(valid), failed


def _halfway(model: BatchModel, steps: Steps) -> tuple[States, Mask]:
    """Return the states at half the change of volume, and a mask of the valid ones."""
    start, end = steps.start, steps.end
    volume = (start.volume + end.volume) / 2
    guess = predicted(start, end, volume)
    middle, good = solve_at_volume(
        model, guess, volume, tolerance=ROUGH_TOLERANCE, max_iterations=5
    )
    rises = (start.pressure < middle.pressure) & (middle.pressure < end.pressure)
    return middle.with_tube(end.tube), good & middle.stable & rises


def _halves(steps: Steps, middle: States, from_rest: Array) -> Steps:
    """Return the halves of steps that need refinement again."""
    halves = Steps(
        steps.before.joined(steps.start),
        steps.start.joined(middle),
        middle.joined(steps.end),
        np.append(steps.absolute, steps.absolute),
        np.append(steps.origin, steps.origin),
    )
    work, absolute = step_works(halves.start, halves.end)
    halves.absolute[len(middle) :] += absolute[: len(middle)]
    total = halves.absolute + absolute
    gap_ratio = excess(halves.start, halves.end, work, total, from_rest[halves.end.tube])
    change = halves.end.volume - halves.start.volume
    limit_ahead = volume_to_limit(halves.before, halves.start) < change
    return halves.take(np.flatnonzero(~(gap_ratio <= 1) | limit_ahead))
