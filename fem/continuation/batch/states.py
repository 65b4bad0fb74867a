"""States of many equilibrium paths in one table, and the predictor of further ones."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Self

import numpy as np
from numpy.polynomial.polynomial import polyval

from fem.continuation.batch.model import BatchModel, Iteration
from fem.continuation.state import hermite
from fem.core.arrays import Array, Index, Mask

REST, REQUESTED, INTERMEDIATE, LIMIT, BEYOND, LAST = range(6)
"""Roles of a state: the first; at a requested pressure; between those; at the limit point; beyond
it; the last one, at the stretch limit."""


@dataclass(frozen=True)
class States:
    """Equilibria of many tubes; the last axis of arrays counts the states, (..., m).

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
        Number of Newton iterations, shape (m,).
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
        """Return states from an iteration `at` some of its tubes, without energies."""
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
        """Return the states with their energies; `model` has one tube for each state."""
        return replace(self, energy=model.energy(self.x), end_energy=model.end_energy(self.x))

    def __len__(self) -> int:
        """Return the number of states."""
        return self.tube.size

    def take(self, index: Index | slice) -> Self:
        """Return the states of an index, a slice, or a mask of shape (m,)."""
        return self._each(lambda part: part[..., index])

    def joined(self, *others: Self) -> Self:
        """Return these states followed by others."""
        return self._each(lambda *parts: np.concatenate(parts, axis=-1), *others)

    def sort_order(self) -> Index:
        """Return the numbers of the states, sorted by tube and then by volume."""
        return np.lexsort((self.volume, self.tube))

    def sorted(self) -> Self:
        """Return the states, sorted by tube and then by volume."""
        return self.take(self.sort_order())

    def where(self, mask: Mask, others: Self) -> Self:
        """Return these states, with others where the mask is true."""
        return self._each(lambda own, other: np.where(mask, other, own), others)

    def _each(self, function: Callable[..., Any], *others: Self) -> Self:
        """Apply `function` to each array, together with those of others."""
        parts = zip(*(vars(states).values() for states in (self, *others)), strict=True)
        return type(self)(*(function(*arrays) for arrays in parts))

    def put(self, index: Index, others: Self) -> Self:
        """Return these states, with others in place of those of an index."""
        source = np.arange(len(self))
        source[index] = len(self) + np.arange(len(others))
        return self.joined(others).take(source)

    def with_tube(self, tube: Index) -> Self:
        """Return the states with other numbers of their tubes."""
        return replace(self, tube=tube)

    def with_role(self, role: int) -> Self:
        """Return the states with another role."""
        return replace(self, role=np.full(len(self), role))

    @property
    def first(self) -> Mask:
        """Whether a state is the first of its tube; the states of a tube are adjacent."""
        return np.diff(self.tube, prepend=-1) != 0

    def cumulative(self, steps: Array | Mask) -> Array:
        """Return the cumulative sums of `steps`, shape (m,), from the first state of each path."""
        start = np.maximum.accumulate(np.where(self.first, np.arange(len(self)), 0))
        total = np.cumsum(steps)
        return np.asarray(total - total[start])

    @property
    def last(self) -> Mask:
        """Whether a state is the last of its tube; the states of a tube are adjacent."""
        return np.diff(self.tube, append=-1) != 0


def predicted(start: States, end: States, volume: Array) -> Array:
    """Return x at `volume` on the Hermite cubics through pairs of states, shape (unknowns, m)."""
    change = end.volume - start.volume
    cubic = hermite(np.array([start.x, end.x]), change * np.array([start.slope, end.slope]))
    return np.asarray(polyval((volume - start.volume) / change, cubic, tensor=False))


def pressure_cubic(start: States, end: States) -> Array:
    """Return the coefficients of the cubic P(V) from `start` (0) to `end` (1), shape (4, m)."""
    slopes = (end.volume - start.volume) * np.array([start.stiffness, end.stiffness])
    return hermite(np.array([start.pressure, end.pressure]), slopes)
