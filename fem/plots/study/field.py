"""Values over the numbers that vary: neighbouring places, and how they are drawn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas
from matplotlib.collections import PolyCollection
from matplotlib.patches import Patch
from matplotlib.tri import Triangulation

from fem.core.arrays import Array, Index
from fem.plots.layout import Keys
from fem.plots.scale import Scale
from fem.scene.appearance import MARK
from fem.study.plot_data import Axis
from fem.wording.picture_text import INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.contour import ContourSet

type Style = dict[str, Any]

HATCH: Style = {"facecolor": "#f2f2f2", "edgecolor": "#9a9a9a", "hatch": "////", "linewidth": 0.0}
CROSS: Style = {"marker": "x", "color": INK, "ms": 4.5, "mew": 1.1, "ls": "none", "clip_on": False}
RING: Style = {"marker": "o", "mfc": "none", "mec": INK, "ms": 4.5, "mew": 0.8, "ls": "none"}
UNSTABLE: Style = {"marker": "s", "mfc": "none", "mec": MARK, "ms": 5, "mew": 0.8, "ls": "none"}
DOT: Style = {"marker": ".", "color": INK, "ms": 1.6, "alpha": 0.6, "ls": "none"}
DIAGONALS = {"equal angles": ((0, (7, 2.5)), 1), "opposite angles": ((0, (1.2, 1.8)), -1)}

MAX_DOTS = 2500
"""With more settings than this, none is marked by a dot."""

NO_SOLUTION = "no solution"
"""Label of a setting of which not even the first state was found."""


@dataclass(frozen=True)
class Field:
    """Values at places, and the cells between neighbours.

    Attributes
    ----------
    places
        A row for each setting and each place of a grid: ``x`` and ``y`` on the axes of the plane,
        ``value`` (NaN where there is none), ``case`` (NaN where there is no solution), and the
        other columns of the table.
    plane
        The axes, two at most.
    cells
        Corners of each cell, rows of `places`, shape (cells, 2, 3 or 4): segments along one axis,
        triangles or cells of a grid; none if neighbours must not be joined.
    shape
        Rows and columns of a grid; None for other places.
    """

    places: pandas.DataFrame
    plane: Sequence[Axis]
    cells: Index
    shape: tuple[int, int] | None

    @property
    def xy(self) -> Array:
        """Places, shape (places, 2)."""
        return self.places[["x", "y"]].to_numpy(float)

    @property
    def value(self) -> Array:
        """Values, shape (places,)."""
        return self.places.value.to_numpy(float)

    @property
    def whole(self) -> Any:
        """Whether each cell has all its values, shape (cells,)."""
        return np.isfinite(self.value)[self.cells].all(axis=1)

    def contour(self, axes: Axes, *, filled: bool, **style: Any) -> ContourSet:
        """Draw contours, filled or as lines, between places that have values.

        A grid cell without one of its values is drawn as the triangle of the other three corners.
        """
        x, y = self.xy.T
        if self.shape:
            grid = (part.reshape(self.shape) for part in (x, y, np.ma.masked_invalid(self.value)))
            return (axes.contourf if filled else axes.contour)(*grid, **style)
        mesh = Triangulation(x, y, self.cells, mask=~self.whole)
        draw = axes.tricontourf if filled else axes.tricontour
        return draw(mesh, np.nan_to_num(self.value), **style)  # 0 where it is masked

    def fill(self, axes: Axes, scale: Scale, missing_label: str) -> Keys:
        """Draw filled contours with a dot for each setting, and hatch cells that lack a value.

        `missing_label` is the legend entry of such cells.
        """
        colours: Style = {"levels": scale.bounds, "extend": scale.extend, **scale.colouring}
        self.contour(axes, filled=True, zorder=1, **colours)
        if len(self.places) <= MAX_DOTS:
            axes.plot(*self.xy[np.isfinite(self.value)].T, zorder=3, **DOT)
        cells = self.xy[self.cells[~self.whole]]
        if not len(cells):
            return {}
        axes.add_collection(PolyCollection(list(cells), zorder=0.5, **HATCH), autolim=False)
        return {missing_label: Patch(**HATCH)}

    def dot(self, axes: Axes, scale: Scale, chosen: Any, marker: str = "o") -> None:
        """Draw each of the `chosen` values as a separate marker in its colour."""
        line: Style = {"s": 26, "edgecolors": INK, "linewidths": 0.4, "marker": marker}
        x, y = self.xy[chosen].T
        axes.scatter(x, y, c=self.value[chosen], **scale.colouring, **line)


def join(places: pandas.DataFrame, plane: Sequence[Axis], *, joinable: bool) -> Field:
    """Return places joined to segments (one axis), or to grid cells or triangles (two axes).

    A grid has a place also for a setting without a solution. Delaunay triangles join places where a
    design scattered both numbers. If not `joinable`, nothing is joined.
    """
    number, shape = np.arange(len(places)), None
    cells: Index
    if len(plane) < 2:
        places = places.sort_values("x") if plane else places
        cells = np.column_stack([number[:-1], number[1:]])[: None if plane else 0]
    elif all(axis.scattered for axis in plane):
        cells = _triangles(*(places[name].to_numpy(float) for name in "xy"))
    else:
        y, x = np.unique(places.y), np.unique(places.x)
        grid = pandas.MultiIndex.from_product([y, x], names=["y", "x"])
        places = places.drop_duplicates(["x", "y"]).set_index(["y", "x"]).reindex(grid)
        places, shape = places.reset_index(), (len(y), len(x))
        number = np.arange(len(places)).reshape(shape)
        corners = number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]
        cells = np.stack(corners, axis=-1).reshape(-1, 4)
    return Field(places, plane, cells if joinable else cells[:0], shape)


def _triangles(x: Array, y: Array) -> Index:
    """Return corners of triangles between places, shape (triangles, 3); none if all are in line.

    Both axes are scaled to the range 0 to 1 first.
    """
    try:
        mesh = Triangulation(*((place - place.min()) / (np.ptp(place) or 1) for place in (x, y)))
    except (RuntimeError, ValueError):  # fewer than three places, or all in line
        return np.empty((0, 3), dtype=np.int32)
    return np.asarray(mesh.triangles)


def draw_marks(
    axes: Axes, places: pandas.DataFrame, marks: Mapping[str, tuple[pandas.Series[Any], Style]]
) -> Keys:
    """Mark places; `marks` has by label which of them, and the style of the marker."""
    keys: Keys = {}
    for label, (chosen, style) in marks.items():
        if chosen.any():
            (keys[label],) = axes.plot(places.x[chosen], places.y[chosen], zorder=4, **style)
    return keys


def draw_diagonals(axes: Axes, plane: Sequence[Axis]) -> Keys:
    """Draw where two helix angles are equal and where they are opposite, within the panel."""
    keys: Keys = {}
    if not all(axis.helix for axis in plane):
        return keys
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    for label, (dashes, sign) in DIAGONALS.items():
        low, high = (bottom, top) if sign > 0 else (-top, -bottom)
        start, end = max(left, low), min(right, high)
        if start < end:
            style: Style = {"color": INK, "lw": 1.1, "ls": dashes, "zorder": 3, "gid": label}
            (keys[label],) = axes.plot([start, end], [sign * start, sign * end], **style)
    return keys


def limit_label(limit: float) -> str:
    """Return the legend entry of a limit (%)."""
    return f"limit ({limit:g} %)"
