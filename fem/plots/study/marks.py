"""What a map marks beside its values: settings, ended curves, diagonals; how all that looks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.lines import Line2D

from fem.plots.study.field import Field
from fem.plots.study.sheet import Keys
from fem.scene.appearance import MARK
from fem.study.plot_data import Axis
from fem.wording.picture_text import INK

if TYPE_CHECKING:
    import pandas
    from matplotlib.axes import Axes

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


def mark_settings(
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


def draw_diagonals(axes: Axes) -> Keys:
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
