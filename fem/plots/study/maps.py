"""A measure over two numbers that vary: filled contours, and what must not be joined by them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.patheffects import AbstractPathEffect, withStroke
from matplotlib.transforms import Bbox
from matplotlib.tri import Triangulation

from fem.core.arrays import Array
from fem.core.units import MINUS
from fem.plots.study.field import Field, field_of
from fem.plots.study.marks import HATCH, Style, draw_diagonals, mark_settings
from fem.plots.study.scale import NOTHING, Scale
from fem.plots.study.sheet import Keys
from fem.scene.appearance import MARK
from fem.study.plot_data import Axis
from fem.wording.picture_text import INK

if TYPE_CHECKING:
    import pandas
    from matplotlib.axes import Axes
    from matplotlib.contour import ContourSet

ROOM = 2.6
"""A panel narrower than this (in) has no room for numbers on its lines."""


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
        keys |= mark_settings(axes, points, field, across, up, level, dotted=joined)
    if scale.limit in scale.bounds:
        keys[f"{scale.limit:g} %: it gives"] = Line2D([], [], color=MARK, lw=1.6)
    if across.helix and up.helix:
        keys |= draw_diagonals(axes)
    return keys


def _fill(axes: Axes, field: Field, scale: Scale, *, numbers: bool) -> bool:
    """Fill the cells that have all their values, draw lines at the edges of the bands.

    Return whether there is any such cell. matplotlib cuts the corner off a cell of a grid of which
    just one value is missing, which joins no more than its neighbours.
    """
    whole = field.known[field.cells].all(axis=1)
    if not whole.any():
        return False
    drawn: ContourSet | None = None
    fill, lines = _styles(scale, field.value[field.cells[whole]])
    if field.counts:
        parts = [part.reshape(field.counts[::-1]) for part in (field.x, field.y, field.value)]
        grid = *parts[:2], np.ma.masked_invalid(parts[2])
        axes.contourf(*grid, **fill)
        if len(lines["levels"]):
            drawn = axes.contour(*grid, **lines)
    else:
        mesh = Triangulation(field.x, field.y, field.cells, mask=~whole)
        known = np.where(field.known, field.value, 0.0)  # behind the mask
        axes.tricontourf(mesh, known, **fill)
        if len(lines["levels"]):
            drawn = axes.tricontour(mesh, known, **lines)
    if drawn is not None and numbers:
        _number(axes, drawn, _nearly_nothing(scale))
    return True


def _styles(scale: Scale, value: Array) -> tuple[Style, Style]:
    """Return how the bands are filled, and lines drawn at those edges that lie among the values."""
    bar = scale.mappable
    fill = {"levels": scale.bounds, "cmap": bar.cmap, "norm": bar.norm, "extend": scale.extend}
    levels = scale.bounds[(scale.bounds > value.min()) & (scale.bounds < value.max())]
    near, limit = np.abs(levels) <= _nearly_nothing(scale), levels == scale.limit
    lines = {
        "levels": levels,
        "colors": [MARK if level == scale.limit else INK for level in levels],
        "linewidths": np.select([near, limit], [0.9, 1.6], 0.5),
        "linestyles": "solid",
    }
    return {**fill, "zorder": 1}, {**lines, "zorder": 2}


def _nearly_nothing(scale: Scale) -> float:
    """Return what is nothing beside the farthest edge; the edges round zero are no farther."""
    return NOTHING * float(np.abs(scale.bounds).max())


def _number(axes: Axes, drawn: ContourSet, near: float) -> None:
    """Write the values on the lines where there is room, off one another and inside the frame."""

    def name(level: float) -> str:
        return "0" if abs(level) <= near else f"{level:.6g}".replace("-", MINUS)

    levels = [level for level in drawn.levels if not -near <= level < 0]
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
