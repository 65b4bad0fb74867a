"""A measure over two numbers that vary: filled contours, and marks where values are missing."""

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
from fem.plots.scale import ZERO_BAND, Scale
from fem.plots.study.field import (
    CROSS,
    NO_SOLUTION,
    RING,
    UNSTABLE,
    Field,
    Style,
    draw_diagonals,
    draw_marks,
    limit_label,
)
from fem.scene.appearance import MARK
from fem.wording.picture_text import INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MIN_NUMBERED_WIDTH = 2.6
"""A narrower panel (in) has no values on its contour lines."""


def draw_map(axes: Axes, field: Field, scale: Scale, level: str) -> Keys:
    """Draw the values of a field into a panel; return its legend entries.

    Values that are not joined are drawn as dots. `level` names the level for the legend.
    """
    keys: Keys = {}
    if field.whole.any():
        keys |= field.fill(axes, scale, "no value, not interpolated")
        _draw_lines(axes, field, scale)
    else:
        field.dot(axes, scale, np.isfinite(field.value))
    places = field.places
    found = places.case.notna()
    marks = {
        f"ended before {level}": (found & places.value.isna(), CROSS),
        NO_SOLUTION: (~found, RING),
        "unstable": (places.stable.eq(False), UNSTABLE),
    }
    keys |= draw_marks(axes, places, marks)
    if scale.limit in scale.bounds:
        keys[limit_label(scale.limit)] = Line2D([], [], color=MARK, lw=1.6)
    return keys | draw_diagonals(axes, field.plane)


def _draw_lines(axes: Axes, field: Field, scale: Scale) -> None:
    """Draw lines at those edges of the bands that lie within the values of complete cells."""
    value = field.value[field.cells[field.whole]]
    levels = scale.bounds[(scale.bounds > value.min()) & (scale.bounds < value.max())]
    if not len(levels):
        return
    near, limit = np.abs(levels) <= _zero_tolerance(scale.bounds), levels == scale.limit
    lines: Style = {
        "levels": levels,
        "colors": [MARK if level == scale.limit else INK for level in levels],
        "linewidths": np.select([near, limit], [0.9, 1.6], 0.5),
        "linestyles": "solid",
    }
    field.contour(axes, filled=False, zorder=2, **lines)


def _zero_tolerance(bounds: Array) -> float:
    """Return the size below which an edge counts as zero: that of the edges of the zero band."""
    return ZERO_BAND * float(np.abs(bounds).max())


def number_lines(axes: Axes, bounds: Array) -> None:
    """Write values on the contour lines where they fit, without overlap and inside the frame.

    Parameters
    ----------
    axes
        The panel of a map, in its final size.
    bounds
        Edges of all bands.
    """
    drawn = [c for c in axes.collections if isinstance(c, ContourSet) and not c.filled]
    figure: Any = axes.get_figure(root=True)
    frame, near = axes.get_window_extent().padded(-1), _zero_tolerance(bounds)
    if not drawn or frame.width < MIN_NUMBERED_WIDTH * figure.dpi:
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
