"""The error of the fast model as a share of the tolerance, over two numbers: filled contours.

The border, where the error is the tolerance, is a thick line, and what lies beyond it is dotted, so
that no colour is needed. Cells of which one corner lacks a model are hatched, not filled.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import colormaps
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from fem.core.arrays import Array
from fem.plots.layout import Keys
from fem.plots.scale import RISING, Scale
from fem.plots.study.field import Field, field_of
from fem.plots.study.marks import (
    CROSS,
    DOT,
    MANY,
    RING,
    Style,
    draw_diagonals,
    draw_dots,
    draw_marks,
    hatch,
)
from fem.scene.appearance import MARK
from fem.study.plot_data import Axis
from fem.trust.pairs import FAST_ENDED, FE_ENDED
from fem.wording.picture_text import INK

if TYPE_CHECKING:
    import pandas
    from matplotlib.axes import Axes

BOUNDS = np.array([0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 5.0])
"""Edges of the bands; what is beyond the last is all one."""

NAMED = np.array([0.0, 1.0, 2.0, 3.0, 5.0])
"""Edges that the colour bar has room to name."""

WITHIN, BEYOND = (0.02, 0.42), (0.58, 0.92)
"""Parts of the colours that are for shares below 1 and above: a jump in darkness at the border."""

DOTTED: Style = {"facecolor": "none", "edgecolor": INK, "hatch": "....", "linewidth": 0.0}
BORDER: Style = {"color": MARK, "lw": 1.8}
TRIANGLE: Style = {"marker": "^", "mfc": "white", "mec": INK, "ms": 4.5, "mew": 0.9, "ls": "none"}
LOST = {FAST_ENDED: CROSS, FE_ENDED: TRIANGLE}
"""Marks of the points that one model alone reaches."""


def share_scale(values: Array) -> Scale:
    """Return the bands of colour; `values` are all shares, NaN where there is none."""
    known = values[np.isfinite(values)]
    within, bands = int(np.sum(BOUNDS < 1)), len(BOUNDS) - 1
    places = [*np.linspace(*WITHIN, within), *np.linspace(*BEYOND, bands - within + 1)]
    colours = np.asarray(colormaps[RISING]([places[0], *places]))
    span = (float(known.min()), float(known.max())) if len(known) else (0.0, 0.0)
    return Scale("error, share of the tolerance", BOUNDS, colours, NAMED, span=span)


def draw_share(
    axes: Axes, points: pandas.DataFrame, across: Axis, up: Axis, scale: Scale, *, plain: bool
) -> Keys:
    """Draw shares into a panel.

    Parameters
    ----------
    points
        Columns of both axes, ``value`` (the share, NaN where a model has ended) and ``state``.
    across, up
        The axes.
    scale
        What the colours mean.
    plain
        Whether nothing else varies among the points, so that neighbours may be joined.
    """
    if not len(points):
        return {}
    field = field_of(points, across, up)
    joined = plain and bool(field.whole.any())
    keys = _fill(axes, field, scale) if joined else _colour(axes, field, scale)
    if across.helix and up.helix:
        keys |= draw_diagonals(axes)
    known = points.value.notna()
    if joined and len(points) <= MANY:
        axes.plot(points[across.column][known], points[up.column][known], zorder=3, **DOT)
    keys |= _mark(axes, points[points.state.isna()], across, up, "both models ended", RING)
    for state, style in LOST.items():
        lost = points[points.state == state]
        keys |= _mark(axes, lost, across, up, f"{state}, the other not", style)
    return keys


def _mark(
    axes: Axes, points: pandas.DataFrame, across: Axis, up: Axis, words: str, style: Style
) -> Keys:
    return draw_marks(axes, [(words, points[across.column], points[up.column], style)])


def _fill(axes: Axes, field: Field, scale: Scale) -> Keys:
    """Fill the cells that have all their values, dot what is beyond the tolerance, draw the border.

    Nothing is joined across a cell that lacks one.
    """
    bar, known = scale.mappable, field.value[field.known]
    keys: Keys = {}
    fill: Style = {"levels": BOUNDS, "cmap": bar.cmap, "norm": bar.norm, "extend": scale.extend}
    field.contour(axes, filled=True, corners=False, zorder=1, **fill)
    if known.max() > 1:
        dots: dict[str, Any] = {"levels": [1, max(known.max(), BOUNDS[-1]) + 1], "hatches": [".."]}
        field.contour(axes, filled=True, corners=False, colors="none", zorder=1.5, **dots)
        keys["beyond the tolerance"] = Patch(**DOTTED)
        if known.min() < 1:
            line: Style = {"levels": [1], "colors": [MARK], "linewidths": BORDER["lw"]}
            field.contour(axes, filled=False, corners=False, zorder=3, **line)
            keys["border: error = tolerance"] = Line2D([], [], **BORDER)
    return keys | hatch(axes, field, "a model has ended, not interpolated")


def _colour(axes: Axes, field: Field, scale: Scale) -> Keys:
    """Draw each share as a dot of its colour, a square beyond the tolerance; join none."""
    keys: Keys = {}
    for words, marker, chosen in (
        ("within the tolerance", "o", field.value <= 1),
        ("beyond the tolerance", "s", field.value > 1),
    ):
        if chosen.any():
            part = Field(field.x, field.y, np.where(chosen, field.value, np.nan), field.cells, None)
            draw_dots(axes, part, scale, marker=marker)
            keys[words] = Line2D([], [], marker=marker, mfc="white", mec=INK, ms=5, ls="none")
    return keys
