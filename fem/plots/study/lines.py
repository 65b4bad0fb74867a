"""A measure against the one number that varies: a curve to each level and model."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from matplotlib.lines import Line2D

from fem.plots.curves import STYLES
from fem.plots.study.facets import Facet
from fem.plots.study.marks import CROSS, UNSTABLE, Style
from fem.plots.study.measures import Measure
from fem.plots.study.scale import shade
from fem.plots.study.sheet import Keys
from fem.scene.appearance import MARK
from fem.study.plot_data import Axis, Survey
from fem.wording.picture_text import INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def draw_lines(
    axes: Axes,
    survey: Survey,
    facet: Facet,
    across: Axis,
    measure: Measure,
    column: str,
    levels: Sequence[float],
) -> Keys:
    """Draw the curves of a column at `levels`, each in the shade of its level.

    A curve has a gap where a path ended before the level; at the one shown elsewhere that place is
    crossed on the lower edge.
    """
    keys: Keys = {}
    for model in survey.models:
        style = STYLES[model]
        for level in levels:
            points = facet.points([across], model, column, level).sort_values(across.column)
            x, y = (
                points[across.column].to_numpy(float),
                measure.factor * points.value.to_numpy(float),
            )
            color = shade(level, levels)
            face = color if style.marker == "o" else "white"
            marker: Style = {"marker": style.marker, "ms": 3.2, "mfc": face, "mec": color}
            axes.plot(x, y, color=color, ls=style.line, lw=1.5, gid=f"{model} {level:g}", **marker)
            shaky = points.value.notna() & ~points.stable
            if shaky.any():
                axes.plot(x[shaky], y[shaky], zorder=4, **UNSTABLE)
                keys["unstable"] = Line2D([], [], **UNSTABLE)
        if len(levels) and len(points) and points.value.isna().any():
            gone = x[points.value.isna()]
            edge = axes.get_xaxis_transform()
            axes.plot(gone, [0.0] * len(gone), transform=edge, zorder=5, **CROSS)
            keys[f"ended before {survey.name(levels[-1])}"] = Line2D([], [], **CROSS)
        marker = {"marker": style.marker, "ms": 3.2, "mfc": INK if style.marker == "o" else "white"}
        keys[style.label] = Line2D([], [], color=INK, ls=style.line, lw=1.5, **marker)
    axes.axhline(0, color="#7f7f7f", linewidth=0.9, zorder=1)
    return keys | _draw_limit(axes, measure.limit)


def _draw_limit(axes: Axes, limit: float) -> Keys:
    """Draw where something gives, if that is within the panel."""
    if not axes.get_ylim()[0] <= limit <= axes.get_ylim()[1]:
        return {}
    axes.axhline(limit, color=MARK, lw=1.4, zorder=2)
    return {f"{limit:g} %: it gives": Line2D([], [], color=MARK, lw=1.4)}
