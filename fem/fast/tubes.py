"""The constants of many tubes as arrays."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any, Self

import numpy as np

from fem.case.thread_family import ThreadFamily
from fem.core.arrays import Array, Index


@dataclass(frozen=True)
class Tubes:
    """Constants of tubes whose rubber has one law and which have equally many families.

    Attributes
    ----------
    bore, outer, length
        A, B (mm) and L (mm), shape (n,).
    squares, weights
        (R/B)^2 at the points of the wall and their weights for twice the integral over (R/B)
        d(R/B), shape (points, n).
    constants
        Constants of the law by their names, shapes (n,); empty if all tubes have the same rubber.
    rubber
        A rubber of this law, or the one of all.
    cos, sin, count, stiffness, toe, slack
        Cosine and sine of the helix angle, number of threads, EA (N), toe and slack of each
        family, shape (families, n).
    springs
        Rates of the springs on the free end, by epsilon and kappa (MPa), shape (2, n).
    held
        Whether the free end is held along the axis and round it, shape (2, n).
    scale
        A force (N) against which one out of balance is small or not, shape (n,).
    """

    bore: Array
    outer: Array
    length: Array
    squares: Array
    weights: Array
    constants: dict[str, Array]
    rubber: Any
    cos: Array
    sin: Array
    count: Array
    stiffness: Array
    toe: Array
    slack: Array
    springs: Array
    held: Any
    scale: Array

    def __len__(self) -> int:
        """Return the number of tubes."""
        return self.bore.size

    def take(self, index: Index) -> Self:
        """Return the tubes of these numbers, in their order; one may be taken more than once."""
        parts = {
            field.name: np.ascontiguousarray(getattr(self, field.name)[..., index])
            for field in fields(self)
            if field.name not in ("constants", "rubber")
        }
        constants = {name: constant[index] for name, constant in self.constants.items()}
        return type(self)(**parts, constants=constants, rubber=self.rubber)

    @cached_property
    def law(self) -> Any:
        """The law of the rubber, with arrays as its constants."""
        return with_arrays(self.rubber, self.constants)

    @cached_property
    def threads(self) -> Any:
        """The law of the threads, with arrays as its constants."""
        return ThreadFamily.model_construct(stiffness=self.stiffness, toe=self.toe)

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
    def per_natural(self) -> Array:
        """Length of a thread's helix at rest by its natural length, shape (families, n)."""
        return 1 / (1 + self.slack)

    @cached_property
    def gauge(self) -> Array:
        """What turns MPa into shares of the force scale, shape (n,)."""
        return np.pi * self.outer**2 / self.scale

    @cached_property
    def slender(self) -> Array:
        """L/B, shape (n,)."""
        return self.length / self.outer

    @cached_property
    def loose(self) -> bool:
        """Whether every free end is free altogether."""
        return not (self.held.any() or self.springs.any())


def with_arrays(rubber: Any, constants: dict[str, Array]) -> Any:
    """Return the law of `rubber` with arrays as its constants; `rubber` itself without any."""
    return type(rubber).model_construct(**constants) if constants else rubber
