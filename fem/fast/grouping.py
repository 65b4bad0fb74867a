"""Cases sorted into groups that are solved together, and the reasons why others are not."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from typing import Any

import numpy as np

from fem.case.case import Case
from fem.core.arrays import Array, Index
from fem.fast.batch_model import TubeBatch
from fem.fast.tubes import common_traits


class SinglePath(Enum):
    """Why a case is handed to the path of one case, :mod:`fem.continuation.path`."""

    DRIVE = "driven by volume or gas"
    MOVE = "the free end is moved"
    DEAD_LOAD = "force or torque on the free end"
    PRESTRESS = "threads that are too short"


def handed_to_single_path(case: Case) -> SinglePath | None:
    """Return why a case is not solved in a batch, or None.

    Cases whose path the batch could not follow with certainty to its end are handed over as well;
    that is known only after the batch, whose tables lack them.
    """
    if case.pressure is None:
        return SinglePath.DRIVE
    if case.move is not None:
        return SinglePath.MOVE
    if case.end.force or case.end.torque:
        return SinglePath.DEAD_LOAD
    if any(family.slack_strain < 0 for family in case.threads):
        return SinglePath.PRESTRESS
    return None


@dataclass(frozen=True)
class Group:
    """Cases that share arrays.

    Attributes
    ----------
    numbers
        Their numbers among all cases, shape (n,).
    tubes
        Their tubes.
    pressures
        Their requested pressures (MPa), shape (steps, n).
    """

    numbers: Index
    tubes: TubeBatch
    pressures: Array

    def chunks(self, most: int) -> Iterator[Group]:
        """Yield the group in chunks of at most `most` cases."""
        if len(self.numbers) <= most:
            yield self
            return
        for k in np.array_split(np.arange(len(self.numbers)), -(-len(self.numbers) // most)):
            yield replace(
                self,
                numbers=self.numbers[k],
                tubes=self.tubes.take(k),
                pressures=self.pressures[:, k],
            )


def groups(cases: Sequence[Case]) -> tuple[list[Group], dict[int, SinglePath]]:
    """Return the cases that can be solved together, in groups, and why which others cannot."""
    found: dict[Any, list[int]] = {}
    others = {}
    for number, case in enumerate(cases):
        if reason := handed_to_single_path(case):
            others[number] = reason
        else:
            key = (case.drive.steps, common_traits(case))
            found.setdefault(key, []).append(number)
    return [_group(cases, numbers) for numbers in found.values()], others


def _group(cases: Sequence[Case], numbers: list[int]) -> Group:
    mine = [cases[number] for number in numbers]
    goals = [case.pressure.end for case in mine if case.pressure]  # all have one
    pressures = np.linspace(0.0, goals, mine[0].drive.steps + 1)[1:]
    return Group(np.array(numbers), TubeBatch.of(mine), pressures)
