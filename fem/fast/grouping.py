"""Groups of cases that are solved together, and the reasons why others are solved one by one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from typing import Any

import numpy as np

from fem.case.case import Case
from fem.core.arrays import Array, Index
from fem.fast.batch_model import TubeBatch
from fem.fast.tubes import batch_key


class SinglePath(Enum):
    """Why a case is solved as a single case, by :mod:`fem.continuation.path`."""

    DRIVE = "driven by volume or gas"
    MOVE = "the free end is moved"
    DEAD_LOAD = "force or torque on the free end"
    PRESTRESS = "threads that are too short"


def single_path_reason(case: Case) -> SinglePath | None:
    """Return why a case is not solved in a batch, or None.

    Cases whose path fails a check in the batch are also solved as single cases; the outputs of the
    batch do not contain them.
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
    """Cases that are solved together as arrays.

    Attributes
    ----------
    numbers
        Their numbers in the list of all cases, shape (n,).
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


def batch_groups(cases: Sequence[Case]) -> tuple[list[Group], dict[int, SinglePath]]:
    """Return the groups of cases, and the numbers of the other cases with the reasons."""
    found: dict[Any, list[int]] = {}
    single = {}
    for number, case in enumerate(cases):
        if reason := single_path_reason(case):
            single[number] = reason
        else:
            key = (case.drive.steps, batch_key(case))
            found.setdefault(key, []).append(number)
    return [_group(cases, numbers) for numbers in found.values()], single


def _group(cases: Sequence[Case], numbers: list[int]) -> Group:
    own = [cases[number] for number in numbers]
    goals = [case.pressure.end for case in own if case.pressure]  # all have one
    pressures = np.linspace(0.0, goals, own[0].drive.steps + 1)[1:]
    return Group(np.array(numbers), TubeBatch.of(own), pressures)
