"""A measure against the one number that varies: a curve to each level and model."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from matplotlib.lines import Line2D

from fem.plots.layout import Keys
from fem.plots.scale import shade
from fem.plots.study.facets import Facet
from fem.plots.study.marks import CROSS, UNSTABLE, Style, draw_marks
from fem.plots.study.measures import Measure
from fem.plots.style import STYLES, ZERO
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

    A curve has a gap where a path ended before the level; at the last level that place is crossed
    on the lower edge.
    """
    keys: Keys = {}
    for model in survey.models:
        style = STYLES[model]
        for level in levels:
            points = facet.points([across], model, column, level).sort_values(across.column)
            x, known = points[across.column].to_numpy(float), points.value.notna().to_numpy()
            y, color = measure.factor * points.value.to_numpy(float), shade(level, levels)
            face = color if style.marker == "o" else "white"
            marker: Style = {"marker": style.marker, "ms": 3.2, "mfc": face, "mec": color}
            axes.plot(x, y, color=color, ls=style.line, lw=1.5, gid=f"{model} {level:g}", **marker)
            shaky = known & ~points.stable.to_numpy()
            keys |= draw_marks(axes, [("unstable", x[shaky], y[shaky], UNSTABLE)])
        words, edge = f"ended before {survey.name(levels[-1])}", axes.get_xaxis_transform()
        missing = x[~known]
        cross = CROSS | {"transform": edge}
        keys |= draw_marks(axes, [(words, missing, [0.0] * len(missing), cross)])
        marker = {"marker": style.marker, "ms": 3.2, "mfc": INK if style.marker == "o" else "white"}
        keys[style.label] = Line2D([], [], color=INK, ls=style.line, lw=1.5, **marker)
    axes.axhline(0, zorder=1, **ZERO)
    if axes.get_ylim()[0] <= measure.limit <= axes.get_ylim()[1]:
        words = f"{measure.limit:g} %: it gives"
        keys[words] = axes.axhline(measure.limit, color=MARK, lw=1.4, zorder=2)
    return keys
