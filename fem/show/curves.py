"""Twist, displacement and bulge against pressure, both models in the same axes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from fem.result import Result, Run
from fem.show.style import DPI, INK, TITLE_SIZE, title_lines, wrap

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PALE = "#d9d9d9"
WIDTH = 10.5
"""Width of the figure (in)."""

PANELS = {
    "twist_deg": "twist [deg]",
    "displacement_mm": "displacement [mm]",
    "bulge_mm": "bulge [mm]",
}
"""Column of the step table, and what its axis says."""

ROUND_OFF = 1e-6
"""A curve that stays below this (deg or mm) is nil."""

MANY = 40
"""A curve of more steps is marked at so many of them only."""


class Style(NamedTuple):
    """How the curve of a model looks; any one of the three tells the models apart."""

    label: str
    color: str
    line: str
    marker: str
    size: float


STYLES = {
    "fe": Style("FE model", "#0072b2", "-", "o", 4.5),
    "fast": Style("fast model", "#d55e00", (0, (5, 2)), "D", 3.0),  # type: ignore[arg-type]
}
"""The colours stay apart for each kind of colour blindness, and in grey."""


def draw_curves(result: Result, file: Path) -> None:
    """Draw twist, displacement and bulge against pressure into an image file.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    plot_curves(result).savefig(file, dpi=DPI, facecolor="white")


def plot_curves(result: Result) -> Figure:
    """Return the figure with one panel to each measure."""
    title = title_lines(result.case.title, 0.915 * WIDTH)
    notes = [note for run in result.runs if (note := _note(run))]
    top, bottom = 0.35 + 0.22 * len(title), 0.98 + 0.2 * len(notes)
    height = top + 2.9 + bottom
    figure = Figure(figsize=(WIDTH, height))
    panels = figure.subplots(1, len(PANELS))
    figure.subplots_adjust(0.07, bottom / height, 0.985, 1 - top / height, wspace=0.28)
    for axes, (column, label) in zip(panels, PANELS.items(), strict=True):
        _plot_panel(axes, result, column)
        axes.set_ylabel(label, color=INK)
    _print(figure, 0.07, 1 - 0.18 / height, "\n".join(title), size=TITLE_SIZE, weight="bold")
    for number, note in enumerate(notes):
        _print(figure, 0.07, (0.12 + 0.2 * (len(notes) - number)) / height, note, size=8.5)
    handles = _legend_handles(result.runs)
    figure.legend(
        handles=handles,
        loc="lower left",
        bbox_to_anchor=(0.06, (0.16 + 0.2 * len(notes)) / height),
        ncols=len(handles),
        frameon=False,
        fontsize=9.5,
        labelcolor=INK,
    )
    return figure


def _print(figure: Figure, x: float, y: float, text: str, **style: Any) -> None:
    """Print plain text from its upper left corner; a dollar sign in it starts no formula."""
    figure.text(x, y, text, va="top", color=INK, parse_math=False, **style)


def _plot_panel(axes: Axes, result: Result, column: str) -> None:
    extremes = [0.0]
    for run in result.runs:
        pressure = np.array([row["pressure_kPa"] for row in run.rows], dtype=float)
        values = np.array([row[column] for row in run.rows], dtype=float)
        stable = np.array([bool(row["stable"]) for row in run.rows])
        _plot_run(axes, run, pressure, values, stable)
        extremes += [values.min(), values.max()]
    if max(extremes) - min(extremes) < ROUND_OFF:
        axes.set_ylim(-1, 1)  # else the axis would show nothing but round-off
    _dress(axes, result.case.pressure.end * 1e3)


def _plot_run(
    axes: Axes,
    run: Run,
    pressure: np.ndarray[Any, Any],
    values: np.ndarray[Any, Any],
    stable: np.ndarray[Any, Any],
) -> None:
    """Plot the curve of one run: line, step markers, unstable steps, and where it stopped."""
    style = STYLES[run.model]
    every = max(1, len(values) // MANY)
    axes.plot(pressure, values, linestyle=style.line, color=style.color, lw=1.6, zorder=3)
    for mask, marker in ((stable, _step_marker(style)), (~stable, _unstable_marker(style))):
        axes.plot(pressure[mask], values[mask], markevery=every, zorder=4, **marker)
    if not run.reached:
        axes.plot(pressure[-1:], values[-1:], zorder=5, **_end_marker(style))


def _step_marker(style: Style) -> dict[str, Any]:
    return {
        "linestyle": "none",
        "marker": style.marker,
        "markersize": style.size,
        "markerfacecolor": style.color if style.marker == "o" else "white",
        "markeredgecolor": style.color,
        "clip_on": False,
    }


def _unstable_marker(style: Style) -> dict[str, Any]:
    return {**_step_marker(style), "marker": "x", "markersize": 6, "markeredgewidth": 1.6}


def _end_marker(style: Style) -> dict[str, Any]:
    """Return a ring round the last point, wider for one model so that two rings show."""
    return {
        **_step_marker(style),
        "marker": "o" if style.marker == "o" else "s",
        "markersize": 10 if style.marker == "o" else 13,
        "markerfacecolor": "none",
        "markeredgewidth": 1.2,
    }


def _dress(axes: Axes, end: float) -> None:
    """Give a panel its pressure axis up to the demanded `end` (kPa), grid and zero line."""
    axes.set_xlim(0, end * 1.03)
    axes.set_xlabel("pressure [kPa]", color=INK)
    axes.xaxis.set_major_locator(MaxNLocator(6))
    axes.yaxis.set_major_locator(MaxNLocator(7, steps=[1, 2, 2.5, 5, 10]))
    axes.yaxis.set_label_coords(-0.16, 0.5)
    axes.grid(color=PALE, linewidth=0.6)
    axes.axhline(0, color="#7f7f7f", linewidth=0.9, zorder=2)
    axes.set_axisbelow(True)
    axes.tick_params(colors=INK, labelsize=9, length=3)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color("#7f7f7f")


def _legend_handles(runs: Sequence[Run]) -> list[Line2D]:
    """Return an entry to each model, to each early end, and one to unstable steps if any."""
    handles = []
    for run in runs:
        style = STYLES[run.model]
        line = {**_step_marker(style), "linestyle": style.line, "linewidth": 1.6}
        handles.append(Line2D([], [], color=style.color, label=style.label, **line))
        if not run.reached:
            label = f"{style.label} stops at {run.rows[-1]['pressure_kPa']:.4g} kPa"
            handles.append(Line2D([], [], label=label, **_end_marker(style)))
    if any(not row["stable"] for run in runs for row in run.rows):
        handles.append(Line2D([], [], label="unstable step", **_unstable_marker(_NEUTRAL)))
    return handles


_NEUTRAL = Style("", "#555555", "none", "x", 6)


def _note(run: Run) -> str:
    """Return the sentence that says why a run stopped early; empty if it did not."""
    if run.reached:
        return ""
    return "\n".join(wrap(f"{STYLES[run.model].label}: {run.reason}.", 150, lines=1))
