"""A measure of settings that differ in text alone: a bar to each setting and model."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.patches import Patch

from fem.core.units import MINUS
from fem.plots.layout import Keys
from fem.plots.study.facets import Facet
from fem.plots.style import SMALL_SIZE, STYLES, ZERO
from fem.study.plot_data import Survey
from fem.wording.picture_text import wrapped

if TYPE_CHECKING:
    from matplotlib.axes import Axes

THICK = 0.8
"""Share of its room that the bars of a setting take."""

NAMES = 1.8
"""Width of the names of bars (in)."""


def names(part: Facet) -> list[str]:
    """Return the lines that name a bar."""
    return wrapped("; ".join(part.words) or "the case", NAMES, SMALL_SIZE)


def draw_bars(
    axes: Axes, survey: Survey, parts: Sequence[Facet], column: str, factor: float
) -> Keys:
    """Draw the bars of a column at the level shown.

    In place of a bar it says so where the curve ended before.
    """
    thick = THICK / len(survey.models)
    keys: Keys = {}
    for number, model in enumerate(survey.models):
        for place, part in enumerate(parts):
            points = part.points([], model, column, survey.shown)
            value = factor * float(points.value.iloc[0]) if len(points) else np.nan
            up = place + (number + 0.5) * thick - THICK / 2
            if np.isfinite(value):
                axes.barh(up, value, 0.9 * thick, color=STYLES[model].color)
                words, end = f"{value:.3g}".replace("-", MINUS), value
            else:
                words, end = "ended before" if len(points) else "nothing found", 0.0
            side, align = (-1, "right") if end < 0 else (1, "left")
            offset: dict[str, Any] = {
                "xytext": (3 * side, 0),
                "textcoords": "offset points",
                "size": SMALL_SIZE,
            }
            axes.annotate(words, (end, up), ha=align, va="center", **offset)
        keys[STYLES[model].label] = Patch(color=STYLES[model].color)
    axes.axvline(0, **ZERO)
    axes.set_yticks(range(len(parts)), ["\n".join(names(part)) for part in parts])
    return keys
