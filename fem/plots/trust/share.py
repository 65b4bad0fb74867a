"""The error of the fast model divided by the tolerance, over two numbers: filled contours.

A thick line marks where the error equals the tolerance, and dots cover the region outside, so that
the map can be read in greyscale.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib import colormaps
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from fem.core.arrays import Array
from fem.plots.layout import Keys
from fem.plots.scale import SEQUENTIAL, Scale, span_of
from fem.plots.study.field import CROSS, RING, Field, Style, draw_diagonals, draw_marks
from fem.scene.appearance import MARK
from fem.trust.pairs import FAST_ENDED, FE_ENDED
from fem.wording.picture_text import INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BOUNDS = np.array([0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 5.0])
"""Edges of the bands; all values above the last have one colour."""

TICKS = np.array([0.0, 1.0, 2.0, 3.0, 5.0])
"""Edges that are labelled at the colour bar."""

WITHIN, OUTSIDE = (0.02, 0.42), (0.58, 0.92)
"""Parts of the colour map for shares below 1 and above: the darkness jumps in between."""

DOTTED: Style = {"facecolor": "none", "edgecolor": INK, "hatch": "....", "linewidth": 0.0}
LIMIT: Style = {"color": MARK, "lw": 1.8}
TRIANGLE: Style = {"marker": "^", "mfc": "white", "mec": INK, "ms": 4.5, "mew": 0.9, "ls": "none"}
LOST = {FAST_ENDED: CROSS, FE_ENDED: TRIANGLE}
"""Markers of the points that only one model reaches."""


def share_scale(values: Array) -> Scale:
    """Return the colour scale; `values` are all shares, NaN where there is none."""
    within, bands = int(np.sum(BOUNDS < 1)), len(BOUNDS) - 1
    places = [*np.linspace(*WITHIN, within), *np.linspace(*OUTSIDE, bands - within + 1)]
    colours = np.asarray(colormaps[SEQUENTIAL]([places[0], *places]))
    return Scale("error / tolerance", BOUNDS, colours, TICKS, span=span_of(values))


def draw_share(axes: Axes, field: Field, scale: Scale) -> Keys:
    """Draw shares into a panel; return its legend entries.

    Parameters
    ----------
    axes
        The panel.
    field
        The shares, NaN where a model has ended; its places have a column ``state``.
    scale
        The colour scale.
    """
    keys: Keys = {}
    if field.whole.any():
        keys |= field.fill(axes, scale, "a model ended, not interpolated")
        keys |= _draw_limit(axes, field)
    else:
        sides = {"within": ("o", field.value <= 1), "outside": ("s", field.value > 1)}
        for side, (marker, chosen) in sides.items():
            if chosen.any():  # squares outside the tolerance, readable in greyscale
                field.dot(axes, scale, chosen, marker)
                style: Style = {"mfc": "white", "mec": INK, "ms": 5, "ls": "none"}
                keys[f"{side} the tolerance"] = Line2D([], [], marker=marker, **style)
    keys |= draw_diagonals(axes, field.plane)
    places = field.places
    both = places.case.notna() & places.state.isna()
    lost = {f"only the {state}": (places.state == state, LOST[state]) for state in LOST}
    return keys | draw_marks(axes, places, {"both models ended": (both, RING), **lost})


def _draw_limit(axes: Axes, field: Field) -> Keys:
    """Dot the region outside the tolerance, and draw its boundary."""
    keys: Keys = {}
    least, most = np.nanmin(field.value), np.nanmax(field.value)
    if most > 1:
        dots: Style = {"levels": [1, max(most, BOUNDS[-1]) + 1], "hatches": [".."]}
        field.contour(axes, filled=True, colors="none", zorder=1.5, **dots)
        keys["outside the tolerance"] = Patch(**DOTTED)
        if least < 1:
            line: Style = {"levels": [1], "colors": [MARK], "linewidths": LIMIT["lw"]}
            field.contour(axes, filled=False, zorder=3, **line)
            keys["error = tolerance"] = Line2D([], [], **LIMIT)
    return keys
