r"""What the FE model is a sum of: parts with a potential, evaluated at one state.

The potential of the model is the sum of those of its parts, :math:`\Pi(x) = \sum_k \Pi_k(x)`. A
part writes its first and second derivative into stacked cell arrays, whose 85 entries a cell are
the displacements of its 27 nodes and its 4 pressures (:mod:`fem.fe.wall.cell_forms`). What couples
more than one cell goes into terms of low rank.

A part keeps nothing of a state: what it needs more than once at a state is kept by the
:class:`Evaluation`, which never changes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np

from fem.core.arrays import Array, Index


def _nothing() -> Array:
    return np.empty(0)


@dataclass(frozen=True, eq=False)
class Evaluation:
    """One state of the mesh: read-only copies of its arrays, and what parts have found from them.

    Attributes
    ----------
    displacement
        Of the nodes, shape (nodes, 3), mm.
    pressures
        Of the cells, shape (cells, 4), MPa. Threads do without, and without what follows.
    q, tangent
        Unknowns of the motion, shape (size,), mm, and the derivative of the nodes' positions by
        them, shape (nodes, 3, 3); see :mod:`fem.fe.system.motion`.
    """

    displacement: Array
    pressures: Array = field(default_factory=_nothing)
    q: Array = field(default_factory=_nothing)
    tangent: Array = field(default_factory=_nothing)
    _found: dict[Callable[[Evaluation], Any], Any] = field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        """Copy the arrays."""
        for name in ("displacement", "pressures", "q", "tangent"):
            copy = np.array(getattr(self, name))
            copy.flags.writeable = False
            object.__setattr__(self, name, copy)

    def once[T](self, find: Callable[[Evaluation], T]) -> T:
        """Return ``find(self)``, which is called the first time only."""
        if find not in self._found:
            self._found[find] = find(self)
        return self._found[find]


@dataclass(frozen=True)
class LowRankTerms:
    """Terms k v v' of the second derivative, of which each couples many cells.

    Attributes
    ----------
    vectors
        Contributions of cells to the v, by the displacements of the cell, shape (n, 81).
    cells, term
        Cell of each contribution, and the number of the term whose v it belongs to, shape (n,).
    weights
        k of each term, not negative, shape (terms,).
    """

    vectors: Array
    cells: Index
    term: Index
    weights: Array


class Part(Protocol):
    """A part of the FE model, such as the wall, the pressure in the bore, or a thread family."""

    def energy(self, at: Evaluation) -> float:
        """Return the potential of the part in the body (N mm)."""

    def add_forces(self, forces: Array, at: Evaluation) -> None:
        """Add the first derivative to cell vectors, shape (cells, 85), in N and mm3."""

    def add_stiffness(self, matrices: Array, at: Evaluation) -> None:
        """Add the second derivative to cell matrices, shape (cells, 85, 85).

        In N/mm, mm2, and mm3/MPa, without the terms of low rank.
        """

    def low_rank(self, at: Evaluation) -> list[LowRankTerms]:
        """Return the terms of the second derivative that couple more than one cell; here none."""
        return []
