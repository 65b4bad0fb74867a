"""States of many equilibrium paths in one table, and what foretells further ones."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, Self

import numpy as np
from numpy.polynomial.polynomial import polyval

from fem.continuation.cubic import hermite
from fem.core.arrays import Array, Index

Mask = np.ndarray[Any, np.dtype[np.bool_]]
"""Truth values."""


@dataclass(frozen=True)
class States:
    """Equilibria of many tubes; arrays end in the axis of the states, (..., m).

    Attributes
    ----------
    tube
        Number of the tube, shape (m,).
    y
        The unknowns nu, epsilon and kappa of :mod:`fem.fast.tubes`, shape (3, m).
    along
        Their derivatives by nu along the path, shape (3, m); the first is 1.
    pressure, stiffness
        Pressure (MPa) and its derivative by nu along the path, shapes (m,).
    stored
        Stored energy over pi B^2 L (MPa), shape (m,).
    stable
        Whether the equilibrium is a minimum under dead pressure, shape (m,).
    iterations
        Newton iterations it took, shape (m,).
    role
        One of the roles below, shape (m,).
    """

    tube: Index
    y: Array
    along: Array
    pressure: Array
    stiffness: Array
    stored: Array
    stable: Mask
    iterations: Index
    role: Index

    def __len__(self) -> int:
        """Return the number of states."""
        return self.tube.size

    def take(self, index: Index) -> Self:
        """Return the states of these numbers, or where a mask of shape (m,) is true."""
        return type(self)(**{f.name: getattr(self, f.name)[..., index] for f in fields(self)})

    def then(self, *others: Self) -> Self:
        """Return these states and others after them."""
        parts = (self, *others)
        return type(self)(
            **{
                f.name: np.concatenate([getattr(part, f.name) for part in parts], axis=-1)
                for f in fields(self)
            }
        )

    def order(self) -> Index:
        """Return the numbers of the states by tubes, and along the path of each: volume grows."""
        return np.lexsort((self.y[0], self.tube))

    def in_order(self) -> Self:
        """Return the states in that order."""
        return self.take(self.order())

    def where(self, mask: Mask, others: Self) -> Self:
        """Return these states, with others in their places where the mask is true."""
        return type(self)(
            **{
                f.name: np.where(mask, getattr(others, f.name), getattr(self, f.name))
                for f in fields(self)
            }
        )

    def put(self, index: Index, others: Self) -> Self:
        """Return these states, with others in the places of these numbers."""
        place = np.zeros(len(self), dtype=int)
        place[index] = np.arange(len(others))
        mask = np.zeros(len(self), dtype=bool)
        mask[index] = True
        return self.where(mask, others.take(place)) if len(others) else self

    def numbered(self, tube: Index) -> Self:
        """Return the states as those of other tubes."""
        return replace(self, tube=tube)

    def playing(self, role: int) -> Self:
        """Return the states in another role."""
        return replace(self, role=np.full(len(self), role))

    @property
    def first(self) -> Mask:
        """Whether a state is the first of its tube, those of a tube standing together."""
        return np.diff(self.tube, prepend=-1) != 0

    @property
    def last(self) -> Mask:
        """Whether a state is the last of its tube, those of a tube standing together."""
        return np.diff(self.tube, append=-1) != 0


REST, DEMANDED, ON_THE_WAY, LIMIT, BEYOND, LAST = range(6)
"""Roles of a state: the first; asked for; between them; at the limit point, or behind it; the
last one before the wall tears."""


def foretold(start: States, end: States, nu: Array) -> Array:
    """Return y at `nu` on the cubics through pairs of states with their slopes, shape (3, m)."""
    way = end.y[0] - start.y[0]
    cubic = hermite(np.array([start.y, end.y]), way * np.array([start.along, end.along]))
    return np.asarray(polyval((nu - start.y[0]) / way, cubic, tensor=False))


def pressure_cubic(start: States, end: States) -> Array:
    """Return the coefficients of the pressure from `start` (0) to `end` (1) by volume, (4, m)."""
    way = end.y[0] - start.y[0]
    slopes = way * np.array([start.stiffness, end.stiffness])
    return hermite(np.array([start.pressure, end.pressure]), slopes)
