"""Cases sorted into groups that share arrays, and their constants as such."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fem.case.case import Case
from fem.core.arrays import Array, Index
from fem.fast.tubes import Tubes
from fem.fast.wall_points import count, radii_and_weights

COMMON = ("law", "bulk_ratio", "trusted_stretch")
"""What a rubber says beside the constants of its law."""


@dataclass(frozen=True)
class Group:
    """Cases that share arrays.

    Attributes
    ----------
    numbers
        Their numbers among all cases, shape (n,).
    sample
        One of them; in names, law and number of steps the others are like it.
    tubes
        Their tubes.
    pressures
        Their demanded pressures (MPa), shape (steps, n).
    breaking
        Breaking load of each family (N), nan where it has none, shape (families, n).
    """

    numbers: Index
    sample: Case
    tubes: Tubes
    pressures: Array
    breaking: Array

    def parts(self, most: int) -> Iterator[Group]:
        """Yield the group in parts of at most so many cases."""
        if len(self.numbers) <= most:
            yield self
            return
        for k in np.array_split(np.arange(len(self.numbers)), -(-len(self.numbers) // most)):
            yield replace(
                self,
                numbers=self.numbers[k],
                tubes=self.tubes.take(k),
                pressures=self.pressures[:, k],
                breaking=self.breaking[:, k],
            )


def groups(cases: Sequence[Case]) -> tuple[list[Group], list[int]]:
    """Return the cases that can be solved together, in groups, and the numbers of the others."""
    found: dict[Any, list[int]] = {}
    others = []
    for number, case in enumerate(cases):
        if _fits(case):
            found.setdefault(_kind(case), []).append(number)
        else:
            others.append(number)
    return [_group(cases, numbers) for numbers in found.values()], others


def _fits(case: Case) -> bool:
    """Return whether a case is driven by pressure from rest, and no more."""
    return (
        case.pressure is not None
        and case.move is None
        and not (case.end.force or case.end.torque)
        and all(family.slack_strain >= 0 for family in case.threads)
    )


def _kind(case: Case) -> Any:
    """Return what cases must have in common to share arrays."""
    rubber = case.rubber
    assert case.pressure is not None  # it fits
    names = _constants(rubber)
    return (
        type(rubber) if names else rubber,
        _points(case),
        case.pressure.steps,
        tuple((family.name, family.breaking_load is None) for family in case.threads),
    )


def _points(case: Case) -> int:
    """Return the number of points through the wall."""
    tube = case.tube
    return count(tube.bore_radius, tube.outer_radius, case.rubber.locking is not None)


def _constants(rubber: Any) -> list[str]:
    """Return the names of the constants of a law, if all of them are numbers."""
    names = [name for name in type(rubber).model_fields if name not in COMMON]
    return names if all(isinstance(getattr(rubber, name), float) for name in names) else []


def _group(cases: Sequence[Case], numbers: list[int]) -> Group:
    sample = cases[numbers[0]]
    mine = [cases[number] for number in numbers]
    names = _constants(sample.rubber)
    table = np.array([_figures(case, names) for case in mine]).T
    bore, outer, length, scale, goal, *ends = table[:9]
    constants = dict(zip(names, table[9:], strict=False))
    per_family = table[9 + len(names) :].reshape(len(sample.threads), 6, len(mine)).swapaxes(0, 1)
    angle, threads, stiffness, toe, slack, breaking = np.ascontiguousarray(per_family)
    points = _points(sample)
    radii, weights = radii_and_weights(bore / outer, np.ones_like(bore), points)
    axial, twist = ends[:2]
    area = np.pi * outer**2
    tubes = Tubes(
        bore=bore,
        outer=outer,
        length=length,
        squares=radii**2,
        weights=2 * weights,
        constants=constants,
        rubber=sample.rubber,
        cos=np.cos(angle),
        sin=np.sin(angle),
        count=threads,
        stiffness=stiffness,
        toe=toe,
        slack=slack,
        springs=np.array([axial * length / area, twist * length / (area * outer**2)]),
        held=np.array(ends[2:]) > 0,
        scale=scale,
    )
    pressures = np.linspace(0.0, goal, sample.drive.steps + 1)[1:]
    return Group(np.array(numbers), sample, tubes, pressures, breaking)


def _figures(case: Case, names: list[str]) -> list[float]:
    """Return the figures of a case in a row."""
    tube, end, rubber = case.tube, case.end, case.rubber
    assert case.pressure is not None  # it fits
    row = [
        tube.bore_radius,
        tube.outer_radius,
        tube.length,
        case.force_scale,
        case.pressure.end,
        end.axial_spring,
        end.twist_spring,
        end.axial == "held",
        end.twist == "held",
        *(getattr(rubber, name) for name in names),
    ]
    for family in case.threads:
        breaking = family.breaking_load
        row += [
            family.angle,
            family.count,
            family.stiffness,
            family.toe,
            family.slack_strain,
            np.nan if breaking is None else breaking,
        ]
    return row
