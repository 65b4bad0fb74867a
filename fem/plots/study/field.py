"""Values over two numbers that vary, and which places are neighbours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.tri import Triangulation

from fem.core.arrays import Array, Index
from fem.study.plot_data import Axis

if TYPE_CHECKING:
    import pandas
    from matplotlib.axes import Axes
    from matplotlib.contour import ContourSet


@dataclass(frozen=True)
class Field:
    """Values at places, and the cells between neighbours.

    Attributes
    ----------
    x, y, value
        Places and values, shape (points,); a value is NaN where there is none.
    cells
        Corners of each cell, shape (cells, 3 or 4).
    counts
        How many columns and rows a grid has; None for scattered places.
    """

    x: Array
    y: Array
    value: Array
    cells: Index
    counts: tuple[int, int] | None

    @property
    def known(self) -> Any:
        """Whether each place has a value."""
        return np.isfinite(self.value)

    @property
    def whole(self) -> Any:
        """Whether each cell has all its values."""
        return self.known[self.cells].all(axis=1)

    @property
    def open_cells(self) -> Array:
        """Corners of the cells that lack a value, shape (cells, corners, 2)."""
        return np.column_stack([self.x, self.y])[self.cells[~self.whole]]

    def contour(self, axes: Axes, *, filled: bool, corners: bool, **style: Any) -> ContourSet:
        """Draw contours, filled or as lines, over the cells that have all their values.

        With `corners`, a cell of a grid that lacks one value is drawn without that corner, which
        joins no more than its neighbours.
        """
        if self.counts:
            x, y, value = (part.reshape(self.counts[::-1]) for part in (self.x, self.y, self.value))
            draw = axes.contourf if filled else axes.contour
            return draw(x, y, np.ma.masked_invalid(value), corner_mask=corners, **style)
        mesh = Triangulation(self.x, self.y, self.cells, mask=~self.whole)
        over = axes.tricontourf if filled else axes.tricontour
        return over(mesh, np.where(self.known, self.value, 0.0), **style)  # 0 where it is masked


def field_of(points: pandas.DataFrame, across: Axis, up: Axis) -> Field:
    """Return the points of a facet joined to cells: those of a grid, or else triangles.

    In a grid a setting that nothing was found of has its place all the same. Triangles are made
    (Delaunay) in the square that the ranges of both axes are drawn as.
    """
    if not (across.scattered and up.scattered):
        single = points.drop_duplicates([across.column, up.column])
        table = single.pivot(index=up.column, columns=across.column, values="value")
        x, y = np.meshgrid(table.columns, table.index)
        number = np.arange(x.size).reshape(x.shape)
        corners = number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]
        cells = np.stack(corners, axis=-1).reshape(-1, 4)
        value = table.to_numpy(float).ravel()
        return Field(x.ravel(), y.ravel(), value, cells, (x.shape[1], x.shape[0]))
    x, y, value = (points[name].to_numpy(float) for name in (across.column, up.column, "value"))
    return Field(x, y, value, _triangles(x, y), None)


def _triangles(x: Array, y: Array) -> Index:
    """Return corners of triangles between places, shape (triangles, 3); none if all are in line."""
    from scipy.spatial import Delaunay, QhullError

    places = np.column_stack([x, y])
    span = np.ptp(places, axis=0) if len(places) else np.zeros(2)
    if len(places) < 3 or not span.all():
        return np.empty((0, 3), dtype=np.int32)
    try:
        return np.asarray(Delaunay((places - places.min(axis=0)) / span).simplices)
    except QhullError:
        return np.empty((0, 3), dtype=np.int32)
