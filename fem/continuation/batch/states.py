"""States of many equilibrium paths in one table, and the prediction of further ones."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Self

import numpy as np
from numpy.polynomial.polynomial import polyval

from fem.continuation.batch.model import BatchModel, Iteration
from fem.continuation.state import hermite
from fem.core.arrays import Array, Index, Mask

REST, REQUESTED, BETWEEN, LIMIT, BEYOND, LAST = range(6)
"""Roles of a state: the first; at a requested pressure; between them; at the limit point; beyond
it; the last one before the wall tears."""


@dataclass(frozen=True)
class States:
    """Equilibria of many tubes; arrays end in the axis of the states, (..., m).

    Attributes
    ----------
    tube
        Number of the tube, shape (m,).
    x, volume
        Unknowns of the model, shape (unknowns, m), and change of volume since rest, shape (m,).
    slope
        dx/dV along the path, shape (unknowns, m).
    pressure, stiffness
        Pressure P (MPa) and dP/dV along the path, shapes (m,).
    energy, end_energy
        Energy in wall and threads, shape (m,), and in the springs of the free end, shape (2, m).
    stable
        Whether the equilibrium is a minimum under fixed pressure, shape (m,).
    iterations
        Newton iterations it took, shape (m,).
    role
        One of the roles above, shape (m,).
    """

    tube: Index
    x: Array
    volume: Array
    slope: Array
    pressure: Array
    stiffness: Array
    energy: Array
    end_energy: Array
    stable: Mask
    iterations: Index
    role: Index

    @classmethod
    def of(cls, found: Iteration, at: Index | slice = slice(None), **others: Any) -> Self:
        """Return states from an iteration `at` some of its tubes, as yet without energies."""
        stable = found.stable[at]
        return cls(
            slope=found.slope[:, at],
            stiffness=found.stiffness[at],
            energy=np.zeros(len(stable)),
            end_energy=np.zeros((2, len(stable))),
            stable=stable,
            **others,
        )

    def with_energies(self, model: BatchModel) -> Self:
        """Return the states with their energies; `model` has a tube for each of them."""
        return replace(self, energy=model.energy(self.x), end_energy=model.end_energy(self.x))

    def __len__(self) -> int:
        """Return the number of states."""
        return self.tube.size

    def take(self, index: Index | slice) -> Self:
        """Return the states of these numbers, of a slice, or where a mask of shape (m,) is true."""
        return self._each(lambda part: part[..., index])

    def then(self, *others: Self) -> Self:
        """Return these states and others after them."""
        return self._each(lambda *parts: np.concatenate(parts, axis=-1), *others)

    def order(self) -> Index:
        """Return the numbers of the states by tube and, within a tube, by growing volume."""
        return np.lexsort((self.volume, self.tube))

    def in_order(self) -> Self:
        """Return the states in that order."""
        return self.take(self.order())

    def where(self, mask: Mask, others: Self) -> Self:
        """Return these states, replaced by others where the mask is true."""
        return self._each(lambda mine, other: np.where(mask, other, mine), others)

    def _each(self, function: Callable[..., Any], *others: Self) -> Self:
        """Return `function` of each array, and of those of others."""
        parts = zip(*(vars(states).values() for states in (self, *others)), strict=True)
        return type(self)(*(function(*arrays) for arrays in parts))

    def put(self, index: Index, others: Self) -> Self:
        """Return these states, those of these numbers replaced by others."""
        source = np.arange(len(self))
        source[index] = len(self) + np.arange(len(others))
        return self.then(others).take(source)

    def numbered(self, tube: Index) -> Self:
        """Return the states as those of other tubes."""
        return replace(self, tube=tube)

    def with_role(self, role: int) -> Self:
        """Return the states in another role."""
        return replace(self, role=np.full(len(self), role))

    @property
    def first(self) -> Mask:
        """Whether a state is the first of its tube; the states of a tube are adjacent."""
        return np.diff(self.tube, prepend=-1) != 0

    def since_first(self, steps: Array | Mask) -> Array:
        """Return the sums of `steps`, shape (m,), since the first state of each path."""
        begins = np.maximum.accumulate(np.where(self.first, np.arange(len(self)), 0))
        total = np.cumsum(steps)
        return np.asarray(total - total[begins])

    @property
    def last(self) -> Mask:
        """Whether a state is the last of its tube; the states of a tube are adjacent."""
        return np.diff(self.tube, append=-1) != 0


def predicted(start: States, end: States, volume: Array) -> Array:
    """Return x at `volume` on the cubics through pairs of states, shape (unknowns, m)."""
    way = end.volume - start.volume
    cubic = hermite(np.array([start.x, end.x]), way * np.array([start.slope, end.slope]))
    return np.asarray(polyval((volume - start.volume) / way, cubic, tensor=False))


def pressure_cubic(start: States, end: States) -> Array:
    """Return the coefficients of the pressure from `start` (0) to `end` (1) by volume, (4, m)."""
    slopes = (end.volume - start.volume) * np.array([start.stiffness, end.stiffness])
    return hermite(np.array([start.pressure, end.pressure]), slopes)
