"""The error of the fast model as a share of the tolerance, over two numbers: filled contours.

The border, where the error is the tolerance, is a thick line, and what lies beyond it is dotted, so
that no colour is needed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib import colormaps
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from fem.core.arrays import Array
from fem.plots.layout import Keys
from fem.plots.scale import RISING, Scale, span_of
from fem.plots.study.field import CROSS, RING, Field, Style, draw_diagonals, draw_marks
from fem.scene.appearance import MARK
from fem.trust.pairs import FAST_ENDED, FE_ENDED
from fem.wording.picture_text import INK

if TYPE_CHECKING:
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
    within, bands = int(np.sum(BOUNDS < 1)), len(BOUNDS) - 1
    places = [*np.linspace(*WITHIN, within), *np.linspace(*BEYOND, bands - within + 1)]
    colours = np.asarray(colormaps[RISING]([places[0], *places]))
    return Scale("error, share of the tolerance", BOUNDS, colours, NAMED, span=span_of(values))


def draw_share(axes: Axes, field: Field, scale: Scale) -> Keys:
    """Draw shares into a panel; return the keys to it.

    Parameters
    ----------
    axes
        The panel.
    field
        The shares, NaN where a model has ended; its places have a column ``state``.
    scale
        What the colours mean.
    """
    keys: Keys = {}
    if field.whole.any():
        keys |= field.fill(axes, scale, "a model has ended, not interpolated")
        keys |= _draw_border(axes, field)
    else:
        sides = {"within": ("o", field.value <= 1), "beyond": ("s", field.value > 1)}
        for side, (marker, chosen) in sides.items():
            if chosen.any():  # a square beyond the tolerance, so that no colour is needed
                field.dot(axes, scale, chosen, marker)
                style: Style = {"mfc": "white", "mec": INK, "ms": 5, "ls": "none"}
                keys[f"{side} the tolerance"] = Line2D([], [], marker=marker, **style)
    keys |= draw_diagonals(axes, field.plane)
    places = field.places
    both = places.case.notna() & places.state.isna()
    lost = {f"{state}, the other not": (places.state == state, LOST[state]) for state in LOST}
    return keys | draw_marks(axes, places, {"both models ended": (both, RING), **lost})


def _draw_border(axes: Axes, field: Field) -> Keys:
    """Dot what is beyond the tolerance, and draw the border."""
    keys: Keys = {}
    least, most = np.nanmin(field.value), np.nanmax(field.value)
    if most > 1:
        dots: Style = {"levels": [1, max(most, BOUNDS[-1]) + 1], "hatches": [".."]}
        field.contour(axes, filled=True, colors="none", zorder=1.5, **dots)
        keys["beyond the tolerance"] = Patch(**DOTTED)
        if least < 1:
            line: Style = {"levels": [1], "colors": [MARK], "linewidths": BORDER["lw"]}
            field.contour(axes, filled=False, zorder=3, **line)
            keys["border: error = tolerance"] = Line2D([], [], **BORDER)
    return keys
