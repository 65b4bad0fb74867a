"""The legend at the right of the page: it explains exactly what is in the picture."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import chain
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.cm import ScalarMappable
from matplotlib.colors import ListedColormap, Normalize
from matplotlib.ticker import MaxNLocator

from fem.quantities import table
from fem.scene.appearance import MARK, MARK_TITLE, NO_TENSION_TITLE, START, START_TITLE
from fem.scene.colours import Scale, Scales
from fem.scene.marks import MIN_TWIST, draw_families, family_height
from fem.scene.solids import NO_TENSION
from fem.scene.still.readouts import same_threads
from fem.wording.picture_text import INK, write

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from fem.scene.result_view import ResultView
    from fem.scene.solids import Solid

WIDTH = 2.5
"""Width of the column (in)."""

BAR = 1.15
"""Length of a colour bar (in)."""

INDENT = 0.42
"""Distance from a sample to its label (in)."""

HEAD, GAP, LINE = 0.22, 0.25, 0.25
"""Height of the title of a bar, gap below a bar, height of a sample (in)."""

STEPS = (1, 2, 2.5, 5, 10)
"""Steps between the ticks of a colour bar, times a power of ten."""

PLAIN = 1e-3, 1e5
"""Range of the upper end of a scale with plain ticks; a common factor would overlap the title."""

REST_MARK_TITLE = "index mark at rest"

SAMPLES: dict[str, dict[str, Any]] = {
    NO_TENSION_TITLE: {"color": NO_TENSION, "lw": 1.1, "ls": (0, (4, 3))},
    MARK_TITLE: {"color": MARK, "lw": 3, "solid_capstyle": "butt"},
    REST_MARK_TITLE: {"color": MARK, "lw": 1.0, "ls": (0, (2, 1.5))},
    START_TITLE: {"color": START, "lw": 0.8},
}
"""Styles of the lines of the picture, by label."""


class Legend:
    """Contents of the legend.

    Parameters
    ----------
    views
        The views.
    scales
        The colour scales.
    states
        The solids of each state that is shown.
    rows
        Rows of the step table of these states.

    Attributes
    ----------
    families
        The thread families; None if they differ between tubes and are among the values.
    scales
        The colour scales of the picture.
    samples
        Labels of those `SAMPLES` that are in it.
    """

    def __init__(
        self,
        views: Sequence[ResultView],
        scales: Scales,
        states: Iterable[Iterable[Solid]],
        rows: Iterable[dict[str, Any]],
    ) -> None:
        roles, coloured, slack = set[str](), set[str](), False
        for solid in chain.from_iterable(states):
            roles.add(solid.role)
            if solid.quantity and solid.values is not None:
                known = np.isfinite(solid.values)
                coloured |= {solid.quantity} if known.any() else set()
                slack = slack or not known.all()
        present = {
            NO_TENSION_TITLE: slack,
            MARK_TITLE: "marks" in roles,
            REST_MARK_TITLE: any(
                abs(np.radians(row[table.twist.column])) > MIN_TWIST for row in rows
            ),
            START_TITLE: "start" in roles,
        }
        self.families = views[0].case.threads if same_threads(views) else None
        self.scales = [scale for scale in scales if scale.quantity in coloured]
        self.samples = [title for title in SAMPLES if present[title]]

    @property
    def height(self) -> float:
        """Height of the column (in), without the title of the page."""
        families = 0.0
        if self.families is not None:
            families = max(sum(map(family_height, self.families)), 0.3) + 0.1
        bars = (HEAD + BAR + GAP) * len(self.scales)
        return 0.6 + families + bars + LINE * len(self.samples)


def draw_legend(figure: Figure, page: Axes, legend: Legend, top: float) -> None:
    """Draw the legend below `top` (in)."""
    width, height = figure.get_size_inches()
    x, y = width - WIDTH + 0.3, top
    if legend.families is not None:
        y = draw_families(page, legend.families, x, y)
    for scale in legend.scales:
        write(page, x, y, scale.label, size=9)
        place = (x / width, (y - HEAD - BAR) / height, 0.17 / width, BAR / height)
        _draw_colour_bar(figure, scale, place)
        y -= HEAD + BAR + GAP
    for title in legend.samples:
        page.plot([x, x + 0.28], [y - 0.08] * 2, **SAMPLES[title])
        write(page, x + INDENT, y, title, size=9)
        y -= LINE


def ticks_of(scale: Scale) -> list[float]:
    """Return round values on a scale."""
    ticks = MaxNLocator(5, steps=STEPS).tick_values(scale.low, scale.high)
    return [round(float(tick), 9) for tick in ticks if scale.low <= tick <= scale.high]


def _draw_colour_bar(
    figure: Figure, scale: Scale, place: tuple[float, float, float, float]
) -> None:
    """Draw the colour bar of a quantity on the page, at (left, bottom, width, height)."""
    colours = ListedColormap(scale.colours / 255)
    shades = ScalarMappable(Normalize(scale.low, scale.high), colours)
    bar = figure.colorbar(shades, cax=figure.add_axes(place), ticks=ticks_of(scale))
    bar.ax.tick_params(labelsize=8.5, colors=INK)
    bar.outline.set_visible(False)
    if not PLAIN[0] <= scale.high < PLAIN[1]:
        bar.ax.yaxis.set_major_formatter("{x:g}")
