"""The corrected fast model on curves that it was not made from: parity, error before and after."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import FormatStrFormatter, LogLocator, NullLocator

from fem.core.statistics import BAND
from fem.plots.curves import PALE, STYLES
from fem.quantities import table
from fem.quantities.column import Measure, named
from fem.trust.accuracy import round_off
from fem.trust.pairs import FAST, FE
from fem.wording.picture_text import GREY, INK, TITLE_SIZE, title_lines, write
from fem.wording.text_fit import fitted

if TYPE_CHECKING:
    import pandas
    from matplotlib.axes import Axes

    from fem.trust.corrected import CorrectedModel

WIDE, TALL = 3.5, 2.9
"""Width of a column and height of a row (in)."""

NARROWEST = 7.0
"""Width of the page at least (in)."""

BEFORE: dict[str, Any] = {
    "color": STYLES["fast"].color,
    "marker": "D",
    "label": "fast model as it is",
}
AFTER: dict[str, Any] = {
    "color": "#0072b2",
    "marker": "o",
    "label": "corrected, with its 95 % band",
}


def plot_parity(model: CorrectedModel) -> Figure:
    """Return the figure: a column to each quantity; above parity, below the error step by step.

    `model` must hold its left-out points, so it must not have been loaded.
    """
    columns, points = model.quantities, model.left_out
    width = max(WIDE * len(columns), NARROWEST)
    title = title_lines(model.facts["title"], width - 0.8)
    heading = fitted(_heading(model), width - 0.6, 9.5)
    head = 0.35 + 0.22 * len(title) + 0.17 * len(heading)
    height = head + 2 * TALL + 0.55
    figure = Figure(figsize=(width, height))
    _print(figure, 0.18, title, size=TITLE_SIZE, weight="bold")
    _print(figure, 0.18 + 0.22 * len(title), heading, size=9.5)
    grid = figure.add_gridspec(
        2,
        len(columns),
        left=0.9 / width,
        right=1 - 0.2 / width,
        top=1 - head / height,
        bottom=0.95 / height,
        wspace=0.95 / (WIDE - 1.0),
        hspace=0.6 / (TALL - 0.6),
    )
    for number, column in enumerate(columns):
        _draw_parity(figure.add_subplot(grid[0, number]), points, column)
        _draw_errors(figure.add_subplot(grid[1, number]), points, column)
    handles, labels = figure.axes[0].get_legend_handles_labels()
    figure.legend(
        handles,
        labels,
        loc="lower left",
        bbox_to_anchor=(0.2 / width, 0.08 / height),
        ncols=2,
        frameon=False,
        fontsize=8.5,
        labelcolor=INK,
    )
    return figure


def _heading(model: CorrectedModel) -> str:
    facts = model.facts
    return (
        f"Fast model corrected by {facts['curves']} curves of the FE model ({facts['resolution']} "
        "mesh): each point as predicted without its own curve"
    )


def _print(figure: Figure, down: float, lines: Sequence[str], **style: Any) -> None:
    """Print plain lines so far below the upper edge (in); a dollar in them starts no formula."""
    place = 0.3 / figure.get_figwidth(), 1 - down / figure.get_figheight()
    write(figure, *place, "\n".join(lines), **style)


def _draw_parity(axes: Axes, points: pandas.DataFrame, column: str) -> None:
    fe = points[column + FE].to_numpy(float)
    ends = np.array([fe.min(), fe.max()])
    room = 0.04 * (np.ptp(ends) or 1.0) * np.array([-1, 1])
    axes.plot(ends + room, ends + room, color=GREY, lw=0.9, zorder=1)
    style: dict[str, Any] = {"ls": "none", "mew": 0.6, "mfc": "none"}
    axes.plot(fe, points[column + FAST].to_numpy(float), ms=3.2, zorder=2, **style, **BEFORE)
    corrected = points[f"{column}.corrected"].to_numpy(float)
    band = BAND * points[f"{column}.std"].to_numpy(float)
    axes.errorbar(fe, corrected, yerr=band, elinewidth=0.5, ms=2.6, zorder=3, **style, **AFTER)
    words = named(column).words
    _dress(axes, f"FE: {words}", f"predicted: {words}")


def _draw_errors(axes: Axes, points: pandas.DataFrame, column: str) -> None:
    """Draw the RMS error at each step, on a scale of powers of ten; none below round-off."""
    pressure = points.groupby("ordinal")["pressure_kPa"].mean().to_numpy(float)
    agree = True
    for ending, style in ((FAST, BEFORE), (".corrected", AFTER)):
        square = (points[column + ending] - points[column + FE]) ** 2
        error = np.sqrt(square.groupby(points["ordinal"]).mean().to_numpy(float))
        known = error > round_off(points[column + FE])
        agree &= not known.any()
        axes.plot(pressure[known], error[known], ms=3.5, lw=1.3, mfc="none", **style)
    if agree:
        axes.text(0.5, 0.5, "the models agree", transform=axes.transAxes, ha="center", color=INK)
    axes.set_yscale("log")
    axes.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axes.yaxis.set_major_formatter(FormatStrFormatter("%g"))
    axes.yaxis.set_minor_locator(NullLocator())
    _dress(axes, Measure(table.pressure).words, f"RMS error: {named(column).words}")


def _dress(axes: Axes, across: str, up: str) -> None:
    axes.set_xlabel(across, color=INK, size=9, parse_math=False)
    axes.set_ylabel(up, color=INK, size=9, parse_math=False)
    axes.tick_params(colors=INK, labelsize=8.5, length=3)
    axes.grid(color=PALE, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines[:].set_color("#7f7f7f")
