"""The reachable set: displacement against twist of the free end, all settings, all levels."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.lines import Line2D

from fem.plots.layout import Keys
from fem.plots.scale import pale, shade
from fem.plots.study.facets import Facet
from fem.plots.study.field import Style
from fem.plots.style import ZERO
from fem.study.plot_data import PlotData

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BACKGROUND = "#c9c9c9"


def draw_reach(axes: Axes, data: PlotData, part: Facet, model: str, columns: list[str]) -> Keys:
    """Draw the motion of the free end for the settings of a facet; `columns` are those of x and y.

    With two numbers that vary, the grid cells of the settings are mapped into this plane, which
    shows the region between the settings, too; with one, a curve. All other combinations are drawn
    behind in grey.
    """
    keys: Keys = {}
    dots: Style = {"marker": "o", "ms": 2.4, "ls": "none", "mew": 0}
    others = data.rows[(data.rows.model == model) & ~data.rows.case.isin(part.rows.case)]
    if len(others):
        axes.plot(*others[columns].to_numpy(float).T, zorder=0.5, color=BACKGROUND, **dots)
        sample = Line2D([], [], color=BACKGROUND, **{**dots, "ms": 5})
        keys["other combinations"] = sample
    levels = data.levels
    for depth, level in enumerate(levels[::-1]):
        field, color = part.field(model, columns[0], level), shade(level, levels)
        places = field.places[columns].to_numpy(float)
        known = np.isfinite(places).all(axis=1)
        cells = field.cells[known[field.cells].all(axis=1)]
        if len(part.plane) == 1:
            curve = LineCollection(list(places[cells]), colors=[color], lw=1.2)
            axes.add_collection(curve, autolim=False)
        elif len(cells):
            # the triangles of a scattered design have no meaning: their edges are hidden
            edge = color if field.shape else pale(color)
            style: Style = {"facecolors": [pale(color)], "edgecolors": [edge], "linewidths": 0.45}
            style |= {"gid": f"mapped {level:g}", "zorder": 1 + depth / len(levels)}
            axes.add_collection(PolyCollection(list(places[cells]), **style), autolim=False)
        style = {"gid": f"reach {level:g}", "zorder": 1 + (depth + 0.5) / len(levels), **dots}
        axes.plot(*places[known].T, color=color, **style)
    axes.axhline(0, zorder=0.6, **ZERO)
    axes.axvline(0, zorder=0.6, **ZERO)
    return keys
