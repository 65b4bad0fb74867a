r"""Parts of the FE model: each has a potential, evaluated at one state.

The potential of the model is the sum of those of its parts, :math:`\Pi(x) = \sum_k \Pi_k(x)`. A
part adds its first and second derivative to stacked cell arrays. The 85 entries of a cell are the
displacements of its 27 nodes and its 4 pressures (:mod:`fem.fe.wall.cell_forms`). Terms that couple
several cells are low-rank terms.

A part stores nothing of a state. Intermediate results are cached in the :class:`Evaluation`, which
never changes.
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
    """One state of the mesh: read-only copies of its arrays, and cached results of parts.

    Attributes
    ----------
    displacement
        Displacements of the nodes, shape (nodes, 3), mm.
    pressures
        Pressures of the cells, shape (cells, 4), MPa. Threads need neither these nor the following.
    q, tangent
        Unknowns of the motion, shape (size,), mm, and the derivative of the nodes' positions by
        them, shape (nodes, 3, 3); see :mod:`fem.fe.system.motion`.
    """

    displacement: Array
    pressures: Array = field(default_factory=_nothing)
    q: Array = field(default_factory=_nothing)
    tangent: Array = field(default_factory=_nothing)
    _cache: dict[Callable[[Evaluation], Any], Any] = field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        """Copy the arrays."""
        for name in ("displacement", "pressures", "q", "tangent"):
            copy = np.array(getattr(self, name))
            copy.flags.writeable = False
            object.__setattr__(self, name, copy)

    def cached[T](self, function: Callable[[Evaluation], T]) -> T:
        """Return ``function(self)``, evaluated at the first call only."""
        if function not in self._cache:
            self._cache[function] = function(self)
        return self._cache[function]


@dataclass(frozen=True)
class LowRankTerms:
    """Rank-one terms k v v' of the second derivative, each of which couples many cells.

    Attributes
    ----------
    vectors
        Contributions of cells to the vectors v, shape (n, 81).
    cells, term
        Cell and number of the term of each contribution, shapes (n,).
    weights
        k of each term, zero or positive, shape (terms,).
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

        In N/mm, mm2, and mm3/MPa, without the low-rank terms.
        """

    def low_rank(self, at: Evaluation) -> list[LowRankTerms]:
        """Return the terms of the second derivative that couple several cells; by default none."""
        return []
