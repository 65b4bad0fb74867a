"""What a map marks beside its values: settings, cells without a value, diagonals."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from matplotlib.collections import PolyCollection
from matplotlib.patches import Patch

from fem.plots.layout import Keys
from fem.plots.scale import Scale
from fem.plots.study.field import Field
from fem.scene.appearance import MARK
from fem.wording.picture_text import INK

if TYPE_CHECKING:
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


def draw_marks(axes: Axes, marks: Iterable[tuple[str, Any, Any, Style]]) -> Keys:
    """Draw marks, each with its words, places across and up, and style."""
    keys: Keys = {}
    for words, x, y, style in marks:
        if len(x):
            (keys[words],) = axes.plot(x, y, zorder=4, **style)
    return keys


def draw_dots(axes: Axes, field: Field, scale: Scale, **style: Any) -> None:
    """Draw each value as a dot of its colour, joined to no other."""
    known, bar = field.known, scale.mappable
    colours: Style = {"c": field.value[known], "cmap": bar.cmap, "norm": bar.norm}
    line: Style = {"s": 26, "edgecolors": INK, "linewidths": 0.4}
    axes.scatter(field.x[known], field.y[known], **colours, **line, **style)


def hatch(axes: Axes, field: Field, words: str) -> Keys:
    """Hatch the cells that lack a value, and name them so."""
    cells = field.open_cells
    if not len(cells):
        return {}
    axes.add_collection(PolyCollection(list(cells), zorder=0.5, **HATCH), autolim=False)
    return {words: Patch(**HATCH)}


def draw_diagonals(axes: Axes) -> Keys:
    """Draw where two helix angles are equal and where opposite, as far as the panel shows it."""
    keys: Keys = {}
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    for words, (dashes, sign) in DIAGONALS.items():
        low, high = (bottom, top) if sign > 0 else (-top, -bottom)
        start, end = max(left, low), min(right, high)
        if start < end:
            style: Style = {"color": INK, "lw": 1.1, "ls": dashes, "zorder": 3, "gid": words}
            (keys[words],) = axes.plot([start, end], [sign * start, sign * end], **style)
    return keys
