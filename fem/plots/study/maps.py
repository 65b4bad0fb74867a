"""A measure over two numbers that vary: filled contours, and what must not be joined by them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.contour import ContourSet
from matplotlib.lines import Line2D
from matplotlib.patheffects import AbstractPathEffect, withStroke
from matplotlib.transforms import Bbox

from fem.core.arrays import Array
from fem.core.units import MINUS
from fem.plots.layout import Keys
from fem.plots.scale import NOTHING, Scale
from fem.plots.study.field import Field, field_of
from fem.plots.study.marks import (
    CROSS,
    DOT,
    MANY,
    RING,
    UNSTABLE,
    Style,
    draw_diagonals,
    draw_dots,
    draw_marks,
    hatch,
)
from fem.scene.appearance import MARK
from fem.study.plot_data import Axis
from fem.wording.picture_text import INK

if TYPE_CHECKING:
    import pandas
    from matplotlib.axes import Axes

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
    if len(points):
        field = field_of(points, across, up)
        joined = plain and bool(field.whole.any())
        if joined:
            _fill(axes, field, scale)
            keys |= hatch(axes, field, "no value, not interpolated")
        else:
            draw_dots(axes, field, scale)
        keys |= _mark_settings(axes, points, field, across, up, level, dotted=joined)
    if scale.limit in scale.bounds:
        keys[f"{scale.limit:g} %: it gives"] = Line2D([], [], color=MARK, lw=1.6)
    return keys | (draw_diagonals(axes) if across.helix and up.helix else {})


def _fill(axes: Axes, field: Field, scale: Scale) -> None:
    """Fill the cells, and draw lines at those edges of the bands that lie among the values."""
    bar, value = scale.mappable, field.value[field.cells[field.whole]]
    fill = {"levels": scale.bounds, "cmap": bar.cmap, "norm": bar.norm, "extend": scale.extend}
    field.contour(axes, filled=True, corners=True, zorder=1, **fill)
    levels = scale.bounds[(scale.bounds > value.min()) & (scale.bounds < value.max())]
    if not len(levels):
        return
    near, limit = np.abs(levels) <= _nearly_nothing(scale.bounds), levels == scale.limit
    lines: Style = {
        "levels": levels,
        "colors": [MARK if level == scale.limit else INK for level in levels],
        "linewidths": np.select([near, limit], [0.9, 1.6], 0.5),
        "linestyles": "solid",
    }
    field.contour(axes, filled=False, corners=True, zorder=2, **lines)


def _nearly_nothing(bounds: Array) -> float:
    """Return what is nothing beside the farthest edge; the edges round zero are no farther."""
    return NOTHING * float(np.abs(bounds).max())


def _mark_settings(
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
    if dotted and len(points) <= MANY:
        axes.plot(x[known], y[known], zorder=3, **DOT)
    there = set(zip(x, y, strict=True))
    gaps = [place for place in zip(field.x, field.y, strict=True) if place not in there]
    marks: list[tuple[str, Any, Any, Style]] = [
        (f"ended before {level}", x[~known], y[~known], CROSS),
        ("nothing found", [place[0] for place in gaps], [place[1] for place in gaps], RING),
        ("unstable", x[unstable], y[unstable], UNSTABLE),
    ]
    return draw_marks(axes, marks)


def number_lines(axes: Axes, bounds: Array) -> None:
    """Write the values on the lines where there is room, off one another and inside the frame.

    Parameters
    ----------
    axes
        A map in its final size.
    bounds
        Edges of all bands.
    """
    drawn = [c for c in axes.collections if isinstance(c, ContourSet) and not c.filled]
    figure: Any = axes.get_figure(root=True)
    frame, near = axes.get_window_extent().padded(-1), _nearly_nothing(bounds)
    if not drawn or frame.width < ROOM * figure.dpi:
        return

    def name(level: float) -> str:
        return "0" if abs(level) <= near else f"{level:.6g}".replace("-", MINUS)

    levels = [level for level in drawn[0].levels if not -near <= level < 0]
    halo: list[AbstractPathEffect] = [withStroke(linewidth=1.8, foreground="white", alpha=0.8)]
    kept = list[Bbox]()
    for text in axes.clabel(drawn[0], levels, inline=False, fontsize=7, colors=INK, fmt=name):
        box = text.get_window_extent(figure.canvas.get_renderer()).padded(1)
        inside = all(frame.contains(x, y) for x, y in box.corners())
        if inside and not any(box.overlaps(other) for other in kept):
            text.set(path_effects=halo, zorder=5)
            kept.append(box)
        else:
            text.remove()
