"""A measure over at most one number: curves, or bars where settings differ only in text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from fem.core.units import MINUS
from fem.plots.layout import Keys
from fem.plots.scale import shade
from fem.plots.study.facets import Facet
from fem.plots.study.field import CROSS, NO_SOLUTION, UNSTABLE, Style, draw_marks, limit_label
from fem.plots.study.pictures import StudyPicture
from fem.plots.style import SMALL_SIZE, STYLES, ZERO
from fem.scene.appearance import MARK
from fem.study.plot_data import PlotData
from fem.wording.picture_text import INK, wrapped

if TYPE_CHECKING:
    from matplotlib.axes import Axes

GROUP_WIDTH = 0.8
"""Width of the bars of a setting, as a share of their spacing."""

LABEL_WIDTH = 1.8
"""Width of the labels of bars (in)."""


def draw_lines(
    axes: Axes,
    data: PlotData,
    part: Facet,
    picture: StudyPicture,
    column: str,
    levels: Sequence[float],
) -> Keys:
    """Draw the curves of a column at `levels`, each in the shade of its level.

    A curve has a gap where a path ended before the level; a cross on the lower edge marks such a
    gap of the last level.
    """
    keys: Keys = {}
    for model in data.models:
        style = STYLES[model]
        for level in levels:
            places = part.field(model, column, level, picture.quantity.factor).places
            places, color = places.assign(y=places.value), shade(level, levels)
            face = color if style.marker == "o" else "white"
            marker: Style = {"marker": style.marker, "ms": 3.2, "mfc": face, "mec": color}
            marker |= {"ls": style.line, "lw": 1.5, "gid": f"{model} {level:g}"}
            axes.plot(places.x, places.y, color=color, **marker)
            keys |= draw_marks(axes, places, {"unstable": (places.stable.eq(False), UNSTABLE)})
        cross = CROSS | {"transform": axes.get_xaxis_transform()}
        missing = {f"ended before {data.name(levels[-1])}": (places.value.isna(), cross)}
        keys |= draw_marks(axes, places.assign(y=0.0), missing)
        marker = {"marker": style.marker, "ms": 3.2, "mfc": INK if style.marker == "o" else "white"}
        keys[style.label] = Line2D([], [], color=INK, ls=style.line, lw=1.5, **marker)
    axes.axhline(0, zorder=1, **ZERO)
    if axes.get_ylim()[0] <= picture.limit <= axes.get_ylim()[1]:
        keys[limit_label(picture.limit)] = axes.axhline(picture.limit, color=MARK, lw=1.4, zorder=2)
    return keys


def bar_label(part: Facet) -> list[str]:
    """Return the lines of the label of a bar."""
    return wrapped("; ".join(part.labels) or "the case", LABEL_WIDTH, SMALL_SIZE)


def draw_bars(
    axes: Axes, data: PlotData, parts: Sequence[Facet], column: str, factor: float
) -> Keys:
    """Draw the bars of a column at the level shown, one for each setting and model.

    A curve that ended before the level has a note instead of a bar.
    """
    width = GROUP_WIDTH / len(data.models)
    keys: Keys = {}
    offset: dict[str, Any] = {"textcoords": "offset points", "va": "center", "size": SMALL_SIZE}
    for number, model in enumerate(data.models):
        color = STYLES[model].color
        for place, part in enumerate(parts):
            values = part.field(model, column, data.main_level, factor).value
            value = values[0] if len(values) else np.nan
            y, end = place + (number + 0.5) * width - GROUP_WIDTH / 2, 0.0
            if np.isfinite(value):
                axes.barh(y, value, 0.9 * width, color=color)
                text, end = f"{value:.3g}".replace("-", MINUS), value
            else:
                text = "ended before" if len(values) else NO_SOLUTION
            side, align = (-3, "right") if end < 0 else (3, "left")
            axes.annotate(text, (end, y), (side, 0), ha=align, **offset)
        keys[STYLES[model].label] = Patch(color=color)
    axes.axvline(0, **ZERO)
    axes.set_yticks(range(len(parts)), ["\n".join(bar_label(part)) for part in parts])
    return keys
