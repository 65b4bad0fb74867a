"""The error of the fast model as a share of the tolerance, over two numbers: filled contours.

The border, where the error is the tolerance, is a thick line, and what lies beyond it is dotted:
it can be told without colour. Cells of which one corner lacks a model are hatched, not filled.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import colormaps
from matplotlib.collections import PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.tri import Triangulation

from fem.core.arrays import Array
from fem.plots.study.field import Field, field_of
from fem.plots.study.marks import HATCH, MANY, draw_diagonals
from fem.plots.study.scale import Scale
from fem.plots.study.sheet import Keys
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

SHADES = "YlGnBu"
"""From pale to dark, so that grey tells it too."""

DOTTED: dict[str, Any] = {"facecolor": "none", "edgecolor": INK, "hatch": "....", "linewidth": 0.0}
BORDER: dict[str, Any] = {"color": MARK, "lw": 1.8}
LOST: dict[str, dict[str, Any]] = {
    FAST_ENDED: {"marker": "x", "color": INK, "ms": 4.5, "mew": 1.1, "ls": "none"},
    FE_ENDED: {"marker": "^", "mfc": "white", "mec": INK, "ms": 4.5, "mew": 0.9, "ls": "none"},
}
"""Marks of the points that one model alone reaches."""

NEITHER: dict[str, Any] = {"marker": "o", "mfc": "none", "mec": INK, "ms": 4.0, "ls": "none"}
DOT: dict[str, Any] = {"marker": ".", "color": INK, "ms": 1.4, "alpha": 0.6, "ls": "none"}


def share_scale(values: Array) -> Scale:
    """Return the bands of colour; `values` are all shares, NaN where there is none."""
    known = values[np.isfinite(values)]
    bands = len(BOUNDS) - 1
    within = int(np.sum(BOUNDS < 1))
    places = np.concatenate(
        [np.linspace(*WITHIN, within), np.linspace(*BEYOND, bands - within + 1)]
    )
    shades = np.asarray(colormaps[SHADES](places))
    colours = np.vstack([shades[:1], shades])
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
    keys: Keys = {}
    if not len(points):
        return keys
    field = field_of(points, across, up)
    whole = field.known[field.cells].all(axis=1) if len(field.cells) else np.zeros(0, bool)
    joined = plain and bool(whole.any())
    if joined:
        keys |= _fill(axes, field, scale, whole)
    else:
        keys |= _colour(axes, field, scale)
    if across.helix and up.helix:
        keys |= draw_diagonals(axes)
    return keys | _mark(axes, points, across, up, dotted=joined)


def _fill(axes: Axes, field: Field, scale: Scale, whole: Any) -> Keys:
    """Fill the cells that have all their values, dot what is beyond the tolerance, draw the border.

    Nothing is joined across a cell that lacks one.
    """
    bar, known = scale.mappable, field.value[field.known]
    keys: Keys = {}
    place, filled, line = _contours(axes, field, whole)
    top = max(float(known.max()), BOUNDS[-1]) + 1.0
    style: dict[str, Any] = {
        "cmap": bar.cmap,
        "norm": bar.norm,
        "extend": scale.extend,
        "zorder": 1,
    }
    filled(*place, levels=BOUNDS, **style)
    if known.max() > 1:
        filled(*place, levels=[1, top], colors="none", hatches=[".."], zorder=1.5)
        keys["beyond the tolerance"] = Patch(**DOTTED)
        if known.min() < 1:
            line(*place, levels=[1], colors=[MARK], linewidths=BORDER["lw"], zorder=3)
            keys["border: error = tolerance"] = Line2D([], [], **BORDER)
    if len(field.open_cells):
        cells = PolyCollection(list(field.open_cells), zorder=0.5, **HATCH)
        axes.add_collection(cells, autolim=False)
        keys["a model has ended, not interpolated"] = Patch(**HATCH)
    return keys


def _colour(axes: Axes, field: Field, scale: Scale) -> Keys:
    """Draw each share as a dot of its colour, a square beyond the tolerance; join none."""
    bar = scale.mappable
    keys: Keys = {}
    style: dict[str, Any] = {"cmap": bar.cmap, "norm": bar.norm, "s": 26, "edgecolors": INK}
    for words, marker, chosen in (
        ("within the tolerance", "o", field.value <= 1),
        ("beyond the tolerance", "s", field.value > 1),
    ):
        if chosen.any():
            axes.scatter(
                field.x[chosen], field.y[chosen], c=field.value[chosen], marker=marker, **style
            )
            keys[words] = Line2D([], [], marker=marker, mfc="white", mec=INK, ms=5, ls="none")
    return keys


def _contours(axes: Axes, field: Field, whole: Any) -> tuple[tuple[Any, ...], Any, Any]:
    """Return places and values as contours want them, and what fills and draws them."""
    if field.counts:
        parts = [part.reshape(field.counts[::-1]) for part in (field.x, field.y, field.value)]
        masked = (*parts[:2], np.ma.masked_invalid(parts[2]))
        return (
            masked,
            partial(axes.contourf, corner_mask=False),
            partial(axes.contour, corner_mask=False),
        )
    mesh = Triangulation(field.x, field.y, field.cells, mask=~whole)
    known = np.where(field.known, field.value, 0.0)  # behind the mask
    return (mesh, known), axes.tricontourf, axes.tricontour


def _mark(axes: Axes, points: pandas.DataFrame, across: Axis, up: Axis, *, dotted: bool) -> Keys:
    """Mark the settings, and those where a model has ended."""
    keys: Keys = {}
    known = points.value.notna()
    if dotted and len(points) <= MANY:
        axes.plot(points[across.column][known], points[up.column][known], zorder=3, **DOT)
    for state, style in LOST.items():
        lost = points[points.state == state]
        if len(lost):
            axes.plot(lost[across.column], lost[up.column], zorder=4, clip_on=False, **style)
            keys[f"{state}, the other not"] = Line2D([], [], **style)
    neither = points[points.state.isna()]
    if len(neither):
        axes.plot(neither[across.column], neither[up.column], zorder=4, clip_on=False, **NEITHER)
        keys["both models ended"] = Line2D([], [], **NEITHER)
    return keys
