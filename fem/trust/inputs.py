"""The inputs of a fit: scaled, without what says nothing, and how the symmetries act on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Self

import numpy as np

from fem.core.arrays import Array
from fem.trust.kernel import Symmetry
from fem.trust.symmetry import Element

if TYPE_CHECKING:
    import pandas

NIL = 1e-9
"""An input that varies by less, as a share of its magnitude, says nothing."""


@dataclass(frozen=True)
class Inputs:
    """The columns that a fit is told, and the group that acts on them.

    Attributes
    ----------
    names
        The columns.
    scales
        Spread of each over the points of the fit; one value for those that may be exchanged.
    shared
        Number of the set of each column: those of a set may be exchanged.
    elements
        The group.
    """

    names: tuple[str, ...]
    scales: tuple[float, ...]
    shared: tuple[int, ...]
    elements: tuple[Element, ...]

    @classmethod
    def of(cls, points: pandas.DataFrame, elements: Sequence[Element]) -> Self:
        """Choose the inputs of points, whose columns are as :func:`~fem.trust.state.described`."""
        orbits = list(
            dict.fromkeys(
                tuple(sorted({element.column(name) for element in elements}))
                for name in points.columns
            )
        )
        names: list[str] = []
        scales: list[float] = []
        shared: list[int] = []
        for orbit in orbits:
            values = points[list(orbit)].to_numpy(float)
            spread = float(values.std(axis=0).max())
            if spread > NIL * max(1.0, float(abs(values).max())):
                names += orbit
                scales += [spread] * len(orbit)
                shared += [len(set(shared))] * len(orbit)
        return cls(tuple(names), tuple(scales), tuple(shared), tuple(elements))

    def matrix(self, points: pandas.DataFrame) -> Array:
        """Return the scaled inputs, shape (points, inputs)."""
        return points[list(self.names)].to_numpy(float) / np.array(self.scales)

    def group(self, column: str) -> tuple[Symmetry, ...]:
        """Return how the symmetries act on the inputs and on a quantity, by its column.

        An exchange that puts another family's figure in the place of this one says nothing of it.
        """
        return tuple(
            Symmetry(
                order=tuple(self.names.index(element.column(name)) for name in self.names),
                signs=tuple(element.sign(name) for name in self.names),
                character=element.sign(column),
            )
            for element in self.elements
            if element.column(column) == column
        )
