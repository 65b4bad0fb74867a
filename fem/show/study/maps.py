"""A measure over two numbers that vary: filled contours, and what must not be joined by them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.patheffects import AbstractPathEffect, withStroke
from matplotlib.transforms import Bbox
from matplotlib.tri import Triangulation

from fem.arrays import Array, Index
from fem.show.panels import MINUS
from fem.show.study.scale import Scale
from fem.show.study.sheet import Keys
from fem.show.study.survey import Axis
from fem.show.style import INK, MARK

if TYPE_CHECKING:
    import pandas
    from matplotlib.axes import Axes
    from matplotlib.contour import ContourSet

type Style = dict[str, Any]

HATCH: Style = {"facecolor": "#f2f2f2", "edgecolor": "#9a9a9a", "hatch": "////", "linewidth": 0.0}
CROSS: Style = {"marker": "x", "color": INK, "ms": 4.5, "mew": 1.1, "ls": "none", "clip_on": False}
RING: Style = {"marker": "o", "mfc": "none", "mec": INK, "ms": 4.5, "mew": 0.8, "ls": "none"}
UNSTABLE: Style = {"marker": "s", "mfc": "none", "mec": MARK, "ms": 5, "mew": 0.8, "ls": "none"}
DOT: Style = {"marker": ".", "color": INK, "ms": 1.6, "alpha": 0.6, "ls": "none"}
DIAGONALS: dict[str, tuple[Any, int]] = {
    "equal angles": ((0, (7, 2.5)), 1),
    "opposite angles": ((0, (1.2, 1.8)), -1),
}

MANY = 2500
"""More settings than this are not dotted one by one."""

NEARLY = 1e-3
"""Less than this share of the farthest edge is nearly nothing."""

ROOM = 2.6
"""A panel narrower than this (in) has no room for numbers on its lines."""


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
    def open_cells(self) -> Array:
        """Corners of the cells that lack a value, shape (cells, corners, 2)."""
        places = np.column_stack([self.x, self.y])
        return places[self.cells[~self.known[self.cells].all(axis=1)]]


def field_of(points: pandas.DataFrame, across: Axis, up: Axis) -> Field:
    """Return the points of a facet joined to cells: those of a grid, or else triangles.

    In a grid a setting that nothing was found of has its place all the same. Triangles are made
    (Delaunay) in the square that the ranges of both axes are drawn as.
    """
    if not (across.scattered and up.scattered):
        table = points.pivot(index=up.column, columns=across.column, values="value")
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


def draw_map(
    axes: Axes,
    points: pandas.DataFrame,
    across: Axis,
    up: Axis,
    scale: Scale,
    *,
    plain: bool,
    level: str,
) -> Keys:
    """Draw the values of `points` (see ``Facet.points``) into a panel; return the keys to it.

    If not `plain`, something else varies among them too: then they are coloured one by one. `level`
    says in words what an ended curve did not reach.
    """
    keys: Keys = {}
    wide = axes.get_position().width * axes.figure.get_figwidth()  # type: ignore[union-attr]
    if len(points):
        field = field_of(points, across, up)
        joined = plain and _fill(axes, field, scale, numbers=wide > ROOM)
        if joined:
            keys |= _hatch(axes, field)
        else:
            _colour_dots(axes, field, scale)
        keys |= _mark(axes, points, field, across, up, level, dotted=joined)
    if scale.limit in scale.bounds:
        keys[f"{scale.limit:g} %: it gives"] = Line2D([], [], color=MARK, lw=1.6)
    if across.helix and up.helix:
        keys |= _draw_diagonals(axes)
    return keys


def _fill(axes: Axes, field: Field, scale: Scale, *, numbers: bool) -> bool:
    """Fill the cells that have all their values, draw lines at the edges of the bands.

    Return whether there is any such cell. matplotlib cuts the corner off a cell of a grid of which
    just one value is missing, which joins no more than its neighbours.
    """
    whole = field.known[field.cells].all(axis=1)
    if not whole.any():
        return False
    value = field.value[field.cells[whole]]
    lines = scale.bounds[(scale.bounds > value.min()) & (scale.bounds < value.max())]
    bar = scale.mappable
    fill: Style = {"levels": scale.bounds, "cmap": bar.cmap, "norm": bar.norm, "zorder": 1}
    fill["extend"] = scale.extend
    near = NEARLY * float(np.abs(scale.bounds).max())
    stroke: Style = {
        "levels": lines,
        "colors": [MARK if level == scale.limit else INK for level in lines],
        "linewidths": np.where(np.abs(lines) < near, 0.9, 0.5),
        "linestyles": "solid",
        "zorder": 2,
    }
    drawn: ContourSet | None = None
    if field.counts:
        shape = field.counts[::-1]
        grid = [part.reshape(shape) for part in (field.x, field.y)]
        masked = np.ma.masked_invalid(field.value).reshape(shape)
        axes.contourf(*grid, masked, **fill)
        if len(lines):
            drawn = axes.contour(*grid, masked, **stroke)
    else:
        mesh = Triangulation(field.x, field.y, field.cells, mask=~whole)
        known = np.where(field.known, field.value, 0.0)  # behind the mask
        axes.tricontourf(mesh, known, **fill)
        if len(lines):
            drawn = axes.tricontour(mesh, known, **stroke)
    if drawn is not None and numbers:
        _number(axes, drawn, near)
    return True


def _number(axes: Axes, drawn: ContourSet, near: float) -> None:
    """Write the values on the lines where there is room, off one another and inside the frame."""

    def name(level: float) -> str:
        return "0" if abs(level) < near else f"{level:.6g}".replace("-", MINUS)

    levels = [level for level in drawn.levels if not -near < level < 0]
    if not levels:
        return
    halo: list[AbstractPathEffect] = [withStroke(linewidth=1.8, foreground="white", alpha=0.8)]
    canvas = FigureCanvasAgg(axes.figure)  # type: ignore[arg-type]
    renderer = canvas.get_renderer()  # type: ignore[no-untyped-call]
    frame, kept = axes.get_window_extent().padded(-1), list[Bbox]()
    for text in axes.clabel(drawn, levels, inline=False, fontsize=7, colors=INK, fmt=name):
        box = text.get_window_extent(renderer).padded(1)
        inside = all(frame.contains(x, y) for x, y in box.corners())
        if inside and not any(box.overlaps(other) for other in kept):
            text.set(path_effects=halo, zorder=5)
            kept.append(box)
        else:
            text.remove()


def _hatch(axes: Axes, field: Field) -> Keys:
    """Hatch the cells that lack a value."""
    cells = field.open_cells
    if not len(cells):
        return {}
    axes.add_collection(PolyCollection(list(cells), zorder=0.5, **HATCH), autolim=False)
    return {"no value, not interpolated": Patch(**HATCH)}


def _colour_dots(axes: Axes, field: Field, scale: Scale) -> None:
    """Draw each value as a dot of its colour, joined to no other."""
    known, bar = field.known, scale.mappable
    style: Style = {
        "cmap": bar.cmap,
        "norm": bar.norm,
        "s": 26,
        "edgecolors": INK,
        "linewidths": 0.4,
    }
    axes.scatter(field.x[known], field.y[known], c=field.value[known], **style)


def _mark(
    axes: Axes,
    points: pandas.DataFrame,
    field: Field,
    across: Axis,
    up: Axis,
    level: str,
    *,
    dotted: bool,
) -> Keys:
    """Mark each setting: solved, ended before, nothing found, unstable."""
    x, y = (points[axis.column].to_numpy(float) for axis in (across, up))
    known = points.value.notna().to_numpy()
    unstable = known & ~points.stable.to_numpy()
    keys: Keys = {}
    if dotted and len(points) <= MANY:
        axes.plot(x[known], y[known], zorder=3, **DOT)
    marks = [(f"ended before {level}", x[~known], y[~known], CROSS)]
    if field.counts and len(points) < len(field.x):
        there = set(zip(x, y, strict=True))
        gaps = np.array([p for p in zip(field.x, field.y, strict=True) if p not in there])
        marks.append(("nothing found", *gaps.T, RING))
    marks.append(("unstable", x[unstable], y[unstable], UNSTABLE))
    for words, xs, ys, style in marks:
        if len(xs):
            axes.plot(xs, ys, zorder=4, **style)
            keys[words] = Line2D([], [], **{**style, "clip_on": True})
    return keys


def _draw_diagonals(axes: Axes) -> Keys:
    """Draw where two helix angles are equal and where opposite, as far as the panel shows it."""
    keys: Keys = {}
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    for words, (dashes, sign) in DIAGONALS.items():
        low, high = (bottom, top) if sign > 0 else (-top, -bottom)
        start, end = max(left, low), min(right, high)
        if start >= end:
            continue
        style: Style = {"color": INK, "lw": 1.1, "ls": dashes}
        axes.plot([start, end], [sign * start, sign * end], zorder=3, gid=words, **style)
        keys[words] = Line2D([], [], **style)
    return keys
