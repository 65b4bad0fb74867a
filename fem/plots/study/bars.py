"""A measure of settings that differ in text alone: a bar to each setting and model."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.patches import Patch

from fem.core.units import MINUS
from fem.plots.curves import STYLES
from fem.plots.study.facets import Facet
from fem.plots.study.sheet import Keys
from fem.study.plot_data import Survey
from fem.wording.picture_text import INK
from fem.wording.text_fit import fitted

if TYPE_CHECKING:
    from matplotlib.axes import Axes

THICK = 0.8
"""Share of its room that the bars of a setting take."""


def draw_bars(
    axes: Axes, survey: Survey, parts: Sequence[Facet], column: str, factor: float
) -> Keys:
    """Draw the bars of a column at the level shown.

    In place of a bar it says so where the curve ended before.
    """
    thick = THICK / len(survey.models)
    keys: Keys = {}
    for number, model in enumerate(survey.models):
        style = STYLES[model]
        for place, part in enumerate(parts):
            points = part.points([], model, column, survey.shown)
            value = factor * float(points.value.iloc[0]) if len(points) else np.nan
            up = place + (number + 0.5) * thick - THICK / 2
            _draw_bar(axes, up, value, 0.9 * thick, style.color, found=len(points) > 0)
        keys[style.label] = Patch(color=style.color)
    axes.axvline(0, color="#7f7f7f", linewidth=0.9)
    names = [
        "\n".join(fitted("; ".join(part.words) or "the case", 1.7, 8.5, lines=3)) for part in parts
    ]
    axes.set_yticks(range(len(parts)), names)
    for label in axes.get_yticklabels():
        label.set_parse_math(False)
    return keys


def _draw_bar(
    axes: Axes, up: float, value: float, thick: float, color: str, *, found: bool
) -> None:
    text: dict[str, Any] = {"va": "center", "color": INK, "size": 8, "textcoords": "offset points"}
    if np.isfinite(value):
        axes.barh(up, value, thick, color=color)
        words, place = f"{value:.3g}".replace("-", MINUS), value
    else:
        words, place = "ended before" if found else "nothing found", 0.0
    side = -1 if place < 0 else 1
    align = "right" if side < 0 else "left"
    axes.annotate(words, (place, up), (3 * side, 0), ha=align, **text)
