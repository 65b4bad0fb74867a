"""Constants of many tubes as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from operator import attrgetter
from typing import Any, Self

import numpy as np

from fem.case.case import Case
from fem.core.arrays import Array, Index
from fem.fast.wall_points import point_count, radii_and_weights
from fem.rubber import Rubber
from fem.threads.tension import TensionLaw, applied_slack

OF_CASE = attrgetter(
    *("tube.bore_radius", "tube.outer_radius", "tube.length", "force_scale"),
    *("end.axial_spring", "end.twist_spring"),
)
OF_END = attrgetter("end.axial", "end.twist")
OF_FAMILY = attrgetter("angle", "count", "stiffness", "toe", "slack_strain", "breaking_load")
"""The values of a case, the supports of its free end, and the values of a family."""


@dataclass(frozen=True)
class Tubes:
    """Constants of tubes with the same type of rubber law and the same number of families.

    Attributes
    ----------
    bore, outer, length
        A, B (mm) and L (mm), shape (n,).
    squares, weights
        (R/B)^2 at the points of the wall and their weights for twice the integral over (R/B)
        d(R/B), shape (points, n).
    constants
        Constants of the law by their names, shapes (n,); empty if all tubes have the same law.
    rubber
        The law of the first tube.
    names
        Names of the families.
    cos, sin, count, stiffness, toe, slack, breaking
        Cosine and sine of the helix angle, number of threads, EA (N), toe, slack and breaking load
        (N, nan without one) of each family, shape (families, n).
    springs
        Rates of the springs on the free end for epsilon and kappa (MPa), shape (2, n).
    fixed
        Whether the free end is fixed along the axis and against twist, shape (2, n).
    scale
        Reference value for residual forces (N), shape (n,).
    prestress_fraction
        Fraction of negative slack that is applied.
    """

    bore: Array
    outer: Array
    length: Array
    squares: Array
    weights: Array
    constants: dict[str, Array]
    rubber: Any
    names: tuple[str, ...]
    cos: Array
    sin: Array
    count: Array
    stiffness: Array
    toe: Array
    slack: Array
    breaking: Array
    springs: Array
    fixed: Any
    scale: Array
    prestress_fraction: float = 1.0

    @classmethod
    def of(cls, cases: Sequence[Case]) -> Self:
        """Return the tubes of cases with the same :func:`batch_key`."""
        sample = cases[0]
        constants = [law_constants(case.rubber.constitutive_law) for case in cases]
        bore, outer, length, scale, axial, twist = np.array([OF_CASE(case) for case in cases]).T
        families = np.array(  # a breaking load of None is nan
            [[OF_FAMILY(family) for family in case.threads] for case in cases], dtype=float
        ).reshape(len(cases), len(sample.threads), 6)
        angle, threads, stiffness, toe, slack, breaking = np.ascontiguousarray(families.T)
        radii, weights = radii_and_weights(bore / outer, np.ones_like(bore), wall_points(sample))
        area = np.pi * outer**2
        return cls(
            bore=bore,
            outer=outer,
            length=length,
            squares=radii**2,
            weights=2 * weights,
            constants={name: np.array([own[name] for own in constants]) for name in constants[0]},
            rubber=sample.rubber.constitutive_law,
            names=tuple(family.name for family in sample.threads),
            cos=np.cos(angle),
            sin=np.sin(angle),
            count=threads,
            stiffness=stiffness,
            toe=toe,
            slack=slack,
            breaking=breaking,
            springs=np.array([axial * length / area, twist * length / (area * outer**2)]),
            fixed=np.array([OF_END(case) for case in cases]).T == "held",
            scale=scale,
        )

    def __len__(self) -> int:
        """Return the number of tubes."""
        return self.bore.size

    def take(self, index: Index) -> Self:
        """Return the tubes with these numbers, in this order; numbers may repeat."""
        parts: dict[str, Any] = {
            field.name: np.ascontiguousarray(getattr(self, field.name)[..., index])
            for field in fields(self)
            if field.name not in ("constants", "rubber", "names", "prestress_fraction")
        }
        constants = {name: constant[index] for name, constant in self.constants.items()}
        return replace(self, **parts, constants=constants)

    @cached_property
    def law(self) -> Rubber:
        """The law of the rubber, with arrays as its constants."""
        return replace(self.rubber, **self.constants)

    @cached_property
    def threads(self) -> TensionLaw:
        """The law of the threads, with arrays as its constants."""
        return TensionLaw(self.stiffness, self.toe)

    @cached_property
    def bore_square(self) -> Array:
        """(A/B)^2, shape (n,)."""
        return (self.bore / self.outer) ** 2

    @cached_property
    def density(self) -> Array:
        """Length of the threads of a family over pi B^2 L (1/mm2), shape (families, n)."""
        return self.count / (np.pi * self.outer**2 * self.cos)

    @cached_property
    def cos_square(self) -> Array:
        """Square of the cosine of the helix angle, shape (families, n)."""
        return self.cos**2

    @cached_property
    def applied_slack(self) -> Array:
        """Slack, with the applied fraction of negative values, shape (families, n)."""
        return applied_slack(self.slack, self.prestress_fraction)

    @cached_property
    def per_natural(self) -> Array:
        """Length of the helix at rest over the natural length of a thread, shape (families, n)."""
        return 1 / (1 + self.applied_slack)

    @cached_property
    def per_scale(self) -> Array:
        """Section pi B^2 over the force scale (1/MPa), shape (n,)."""
        return np.pi * self.outer**2 / self.scale

    @cached_property
    def slenderness(self) -> Array:
        """L/B, shape (n,)."""
        return self.length / self.outer

    @cached_property
    def energy_unit(self) -> Array:
        """Factor from energies over pi B^2 L (MPa) to N mm, pi B^2 L (mm3), shape (n,)."""
        return np.pi * self.outer**2 * self.length

    @cached_property
    def unsupported(self) -> bool:
        """Whether no free end is fixed or has springs."""
        return not (self.fixed.any() or self.springs.any())


def law_constants(law: Any) -> dict[str, Any]:
    """Return the constants of a law by their names if all are numbers, else an empty dict."""
    constants: dict[str, Any] = law.constants
    return constants if all(isinstance(value, float) for value in constants.values()) else {}


def wall_points(case: Case) -> int:
    """Return the number of integration points through the wall."""
    tube, law = case.tube, case.rubber.constitutive_law
    return point_count(tube.bore_radius, tube.outer_radius, law.locking is not None)


def batch_key(case: Case) -> Any:
    """Return the key that cases of one :class:`Tubes` have in common."""
    law = case.rubber.constitutive_law
    return (
        type(law) if law_constants(law) else law,
        wall_points(case),
        tuple((family.name, family.breaking_load is None) for family in case.threads),
    )
