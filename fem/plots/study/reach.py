"""Where the free end can be brought to: twist against displacement, all settings, all levels."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.lines import Line2D

from fem.core.arrays import Array, Index
from fem.plots.layout import Keys
from fem.plots.scale import pale, shade
from fem.plots.study.facets import Facet
from fem.plots.study.field import field_of
from fem.plots.study.marks import Style
from fem.plots.style import ZERO
from fem.study.plot_data import Survey

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BACKGROUND = "#c9c9c9"


def draw_reach(axes: Axes, survey: Survey, facet: Facet, model: str, columns: list[str]) -> Keys:
    """Draw where the settings of a facet bring the free end, `columns` across and up.

    Over two numbers the grid of the settings is drawn as it is mapped there, each cell whole, so
    that what lies between the settings is seen too; over one, the curve. All other combinations
    are drawn behind in grey.
    """
    keys: Keys = {}
    dots: Style = {"marker": "o", "ms": 2.4, "ls": "none", "mew": 0}
    others = survey.rows[(survey.rows.model == model) & ~survey.rows.case.isin(facet.rows.case)]
    if len(others):
        axes.plot(*others[columns].to_numpy(float).T, zorder=0.5, color=BACKGROUND, **dots)
        sample = Line2D([], [], color=BACKGROUND, **{**dots, "ms": 5})
        keys["the other combinations"] = sample
    levels = survey.levels
    for depth, level in enumerate(levels[::-1]):
        color = shade(level, levels)
        places, cells = _mapped(survey, facet, model, columns, level)
        if cells.shape[1:] == (2,):
            strokes = LineCollection(list(places[cells]), colors=[color], lw=1.2)
            axes.add_collection(strokes, autolim=False)
        elif len(cells):
            face = pale(color)
            edge = color if cells.shape[1:] == (4,) else face  # triangles of a design say nothing
            style: Style = {"facecolors": [face], "edgecolors": [edge], "linewidths": 0.45}
            style |= {"gid": f"mapped {level:g}", "zorder": 1 + depth / len(levels)}
            axes.add_collection(PolyCollection(list(places[cells]), **style), autolim=False)
        style = {"gid": f"reach {level:g}", "zorder": 1 + (depth + 0.5) / len(levels), **dots}
        axes.plot(*places[np.isfinite(places).all(axis=1)].T, color=color, **style)
    axes.axhline(0, zorder=0.6, **ZERO)
    axes.axvline(0, zorder=0.6, **ZERO)
    return keys


def _mapped(
    survey: Survey, facet: Facet, model: str, columns: list[str], level: float
) -> tuple[Array, Index]:
    """Return the places of all settings at a level, shape (points, 2), and what joins them.

    That are cells of a grid or triangles, shape (cells, 4 or 3), or strokes, shape (strokes, 2),
    each with all its corners reached.
    """
    plane = survey.numeric[:2]
    if len(plane) == 2:
        fields = [field_of(facet.points(plane, model, column, level), *plane) for column in columns]
        places, cells = np.column_stack([field.value for field in fields]), fields[0].cells
    else:
        parts = [facet.points(plane, model, column, level) for column in columns]
        if plane:
            parts = [part.sort_values(plane[0].column) for part in parts]
        places = np.column_stack([part.value.to_numpy(float) for part in parts])
        count = len(places) if plane else 0
        cells = np.column_stack([np.arange(count - 1), np.arange(1, count)])
    if not facet.plain:
        cells = cells[:0]
    return places, cells[np.isfinite(places).all(axis=1)[cells].all(axis=1)]
