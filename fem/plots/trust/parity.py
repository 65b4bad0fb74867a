"""The corrected fast model on curves left out of its fit: parity, error before and after."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.ticker import FormatStrFormatter, LogLocator, NullLocator

from fem.plots.layout import FigureLayout, Keys, Panel
from fem.plots.scale import range_of
from fem.plots.style import STYLES
from fem.quantities.column import BAND, named
from fem.trust.pairs import FAST, FE, PRESSURE, round_off
from fem.wording.picture_text import GREY

if TYPE_CHECKING:
    import pandas
    from matplotlib.axes import Axes

    from fem.trust.corrected import CorrectedModel

BEFORE: dict[str, Any] = {
    "color": STYLES["fast"].color,
    "marker": "D",
    "label": "fast model, uncorrected",
}
AFTER: dict[str, Any] = {
    "color": STYLES["fe"].color,
    "marker": "o",
    "label": "corrected, with 95 % band",
}


def parity_figure(model: CorrectedModel) -> FigureLayout:
    """Return the figure: a column for each quantity, parity above, the error at each step below.

    `model` must have its left-out points, so it must not have been loaded from a file.
    """
    facts, columns = model.facts, model.quantities
    panels = [
        Panel([], partial(draw, points=model.held_out, column=column))
        for draw in (_draw_parity, _draw_errors)
        for column in columns
    ]
    heading = (
        f"Fast model corrected by {facts['curves']} curves of the FE model ({facts['resolution']} "
        "mesh): each point is predicted by a fit without its own curve"
    )
    return FigureLayout(facts["title"], panels, len(columns), heading=heading)


def _draw_parity(axes: Axes, points: pandas.DataFrame, column: str) -> Keys:
    fe = points[column + FE].to_numpy(float)
    ends = range_of(fe, 0.04)
    axes.plot(ends, ends, color=GREY, lw=0.9, zorder=1)
    style: dict[str, Any] = {"ls": "none", "mew": 0.6, "mfc": "none"}
    axes.plot(fe, points[column + FAST].to_numpy(float), ms=3.2, zorder=2, **style, **BEFORE)
    corrected = points[f"{column}.corrected"].to_numpy(float)
    band = BAND * points[f"{column}.std"].to_numpy(float)
    axes.errorbar(fe, corrected, yerr=band, elinewidth=0.5, ms=2.6, zorder=3, **style, **AFTER)
    label = named(column).axis_label
    axes.set(xlabel=f"FE: {label}", ylabel=f"predicted: {label}")
    handles, labels = axes.get_legend_handles_labels()
    return dict(zip(labels, handles, strict=True))


def _draw_errors(axes: Axes, points: pandas.DataFrame, column: str) -> Keys:
    """Draw the RMS error at each step on a logarithmic scale, without round-off."""
    pressure = points.groupby("ordinal")[PRESSURE].mean().to_numpy(float)
    agree = True
    for ending, style in ((FAST, BEFORE), (".corrected", AFTER)):
        square = (points[column + ending] - points[column + FE]) ** 2
        error = np.sqrt(square.groupby(points["ordinal"]).mean().to_numpy(float))
        known = error > round_off(points[column + FE])
        agree &= not known.any()
        axes.plot(pressure[known], error[known], ms=3.5, lw=1.3, mfc="none", **style)
    if agree:
        axes.text(0.5, 0.5, "the models agree", transform=axes.transAxes, ha="center")
    axes.set_yscale("log")
    low, high = axes.get_ylim()
    axes.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0) if high < 100 * low else (1.0,)))
    axes.yaxis.set_major_formatter(FormatStrFormatter("%g"))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.set(xlabel=named(PRESSURE).axis_label, ylabel=f"RMS error: {named(column).axis_label}")
    return {}
