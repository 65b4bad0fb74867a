"""Curves of the measures against pressure, and of a move of the free end; models in the same axes.

A curve goes on through limit points, so it may turn back.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from fem.case.case import Case
from fem.plots.panels import Panel, Strip, label_of, strips
from fem.quantities import table
from fem.quantities.column import IF_BONDED, MESH_ERROR
from fem.results.result import Result
from fem.results.run import Run
from fem.scene.appearance import MODEL_TITLES
from fem.wording.glyphs import save_figure
from fem.wording.picture_text import DPI, INK, TITLE_SIZE, title_lines, wrap, write
from fem.wording.run_sections import Rows, place
from fem.wording.termination import explanation, limit_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PALE = "#d9d9d9"
WIDTH = 10.5
"""Width of the figure (in)."""

ABREAST = 3
"""Panels that a strip has room for."""

LEFT, RIGHT, BETWEEN = 0.78, 0.2, 0.87
"""Room beside the panels and between them (in)."""

TALL, FOOT, HEAD = 2.75, 0.55, 0.3
"""Height of a panel, and the room below and above it (in)."""

ROUND_OFF = 1e-6
"""A curve that stays below this (deg, mm, N or N mm) is nil."""

SHORT_TICKS = (-2, 4)
"""Powers of ten from which on a factor is set above the axis: its ticks would reach the label."""

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
    "fe": Style(MODEL_TITLES["fe"], "#0072b2", "-", "o", 4.5),
    "fast": Style(MODEL_TITLES["fast"], "#d55e00", (0, (5, 2)), "D", 3.0),  # type: ignore[arg-type]
}
"""The colours stay apart for each kind of colour blindness, and in grey."""


def draw_curves(result: Result, file: Path) -> None:
    """Draw the curves into an image file.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    save_figure(plot_curves(result), file, dpi=DPI, facecolor="white")


def plot_curves(result: Result) -> Figure:
    """Return the figure: a strip of panels to each part of the path, keys and notes below."""
    title = title_lines(result.case.title, 0.915 * WIDTH)
    shown = strips(result.case, result.runs)
    notes, handles = notes_on(result, shown), legend_handles(result.case, result.runs)
    columns = len(handles) if len(handles) < 5 else 3
    keys = 0.21 * -(-len(handles) // columns)
    top, bottom = 0.3 + 0.22 * len(title), 0.2 + keys + 0.2 * len(notes)
    height = top + bottom + sum(_height(strip) for strip in shown)
    figure = Figure(figsize=(WIDTH, height))
    write(figure, 0.07, 1 - 0.18 / height, "\n".join(title), size=TITLE_SIZE, weight="bold")
    level = height - top
    for strip in shown:
        _draw_strip(figure, strip, result, level)
        level -= _height(strip)
    for number, note in enumerate(notes):
        write(figure, 0.07, (0.12 + 0.2 * (len(notes) - number)) / height, note, size=8.5)
    figure.legend(
        handles=handles,
        loc="lower left",
        bbox_to_anchor=(0.06, (0.08 + 0.2 * len(notes)) / height),
        ncols=columns,
        frameon=False,
        fontsize=9.5,
        labelcolor=INK,
    )
    return figure


def _height(strip: Strip) -> float:
    """Return the height of a strip (in)."""
    return TALL + FOOT + (HEAD if strip.heading else 0.0)


def _draw_strip(figure: Figure, strip: Strip, result: Result, level: float) -> None:
    """Draw a strip whose upper edge is at `level` (in)."""
    height = figure.get_figheight()
    if strip.heading:
        write(figure, 0.07, level / height, strip.heading, size=9.5)
        level -= HEAD
    wide = (WIDTH - LEFT - RIGHT - BETWEEN * (ABREAST - 1)) / ABREAST
    for number, panel in enumerate(strip.panels):
        left = LEFT + number * (wide + BETWEEN)
        place = (left / WIDTH, (level - TALL) / height, wide / WIDTH, TALL / height)
        plot_panel(figure.add_axes(place), strip, panel, result)


def plot_panel(axes: Axes, strip: Strip, panel: Panel, result: Result) -> None:
    """Plot the curves of all runs into the axes of a panel."""
    across, up = [_demanded_end(strip, result.case)], list[float]()
    for run in result.runs:
        rows = strip.rows(run, result.case)
        if rows:
            _plot_run(axes, run, rows, panel)
            across += [row[panel.across] for row in rows]
            up += [row[panel.up] for row in rows]
    if max(map(abs, up)) < ROUND_OFF:
        axes.set_ylim(-1, 1)  # else the axis would show nothing but round-off
    low, high = min(across), max(across)
    if not strip.moved:
        low, high = min(0.0, low), high or 1.0
    margin = 0.03 * (high - low)
    axes.set_xlim(low - margin if low else 0.0, high + margin)
    _dress(axes, panel)
    if not strip.moved or min(up) < 0 < max(up) or panel.up.startswith("end_"):
        axes.axhline(0, color="#7f7f7f", linewidth=0.9, zorder=2)


def _demanded_end(strip: Strip, case: Case) -> float:
    """Return how far a panel must reach across, 0 for no farther than its curves."""
    if case.move and strip.moved:
        way = case.move.displacement
        return way if way is not None else float(np.degrees(case.move.twist or 0.0))
    return case.pressure.end * 1e3 if case.pressure else 0.0


def _plot_run(axes: Axes, run: Run, rows: Rows, panel: Panel) -> None:
    """Plot the curve of one run: its bounds, line, steps, limit points, and where it stopped."""
    style = STYLES[run.model]
    _plot_bounds(axes, style, rows, panel)
    axes.plot(*_points(rows, panel), linestyle=style.line, color=style.color, lw=1.6, zorder=3)
    steps = [row for row in rows if row["demanded"]]
    for stable, marker in ((True, _step_marker(style)), (False, _unstable_marker(style))):
        chosen = [row for row in steps if bool(row["stable"]) == stable]
        every = max(1, len(rows) // MANY)
        axes.plot(*_points(chosen, panel), markevery=every, zorder=4, **marker)
    lost = [row for row in rows if run.beyond(row) and not row["stable"]]
    axes.plot(*_points(lost, panel), zorder=4, **_unstable_marker(style))
    limits = [row for row in rows if row["limit"]]
    axes.plot(*_points(limits, panel), zorder=5, **_limit_marker(style))
    if _stops(run) and rows[-1] is run.rows[-1]:
        axes.plot(*_points(rows[-1:], panel), zorder=5, **_end_marker(style))


def _points(rows: Rows, panel: Panel, up: str = "") -> tuple[np.ndarray[Any, Any], ...]:
    """Return places across and up, shapes (rows,)."""
    columns = panel.across, up or panel.up
    return tuple(np.array([row[name] for row in rows], dtype=float) for name in columns)


def _plot_bounds(axes: Axes, style: Style, rows: Rows, panel: Panel) -> None:
    """Plot the mesh error of steps, and the curve of bonded threads, where they are known."""
    error, bonded = f"{panel.up}.{MESH_ERROR}", f"{panel.up}.{IF_BONDED}"
    if known := [row for row in rows if error in row]:
        (across, up), (_, size) = _points(known, panel), _points(known, panel, error)
        bars: dict[str, Any] = {"ecolor": style.color, "elinewidth": 2.2, "zorder": 2}
        axes.errorbar(across, up, size, fmt="none", **bars)
    if known := [row for row in rows if bonded in row]:
        (across, up), (_, other) = _points(known, panel), _points(known, panel, bonded)
        axes.fill_between(across, up, other, color=style.color, alpha=0.18, lw=0, zorder=1)
        axes.plot(across, other, linestyle=":", color=style.color, lw=1.2, zorder=2)


def _stops(run: Run) -> bool:
    """Return whether a run stopped early elsewhere than at a limit point."""
    return not run.reached and not run.ends_at_limit


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
    return {**_step_marker(style), "marker": "x", "markersize": 5, "markeredgewidth": 1.4}


def _limit_marker(style: Style) -> dict[str, Any]:
    """Return a triangle, full for one model and open for the other."""
    return {**_step_marker(style), "marker": "v", "markersize": 9, "markeredgewidth": 1.4}


def _end_marker(style: Style) -> dict[str, Any]:
    """Return a ring round the last point, wider for one model so that two rings show."""
    return {
        **_step_marker(style),
        "marker": "o" if style.marker == "o" else "s",
        "markersize": 10 if style.marker == "o" else 13,
        "markerfacecolor": "none",
        "markeredgewidth": 1.2,
    }


def _dress(axes: Axes, panel: Panel) -> None:
    """Give a panel its labels and grid."""
    axes.set_xlabel(label_of(panel.across), color=INK)
    axes.set_ylabel(label_of(panel.up), color=INK)
    axes.xaxis.set_major_locator(MaxNLocator(6))
    axes.yaxis.set_major_locator(MaxNLocator(7, steps=[1, 2, 2.5, 5, 10]))
    axes.ticklabel_format(axis="y", scilimits=SHORT_TICKS, useMathText=True)
    axes.yaxis.set_label_coords(-0.21, 0.5)
    axes.grid(color=PALE, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(colors=INK, labelsize=9, length=3)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color("#7f7f7f")


def legend_handles(case: Case, runs: Sequence[Run]) -> list[Line2D]:
    """Return an entry to each model and to whatever else is in the panels."""
    handles = [handle for run in runs for handle in _run_handles(run, case)]
    rows = [row for run in runs for row in run.rows]
    names = {name for row in rows for name in row}
    if any(not row["stable"] and not row["limit"] for row in rows):
        handles.append(Line2D([], [], label="unstable", **_unstable_marker(_NEUTRAL)))
    if any(name.endswith(IF_BONDED) for name in names):
        blue = STYLES["fe"].color
        handles.append(Line2D([], [], ls=":", lw=1.2, color=blue, label="FE, threads bonded"))
    return handles


def _run_handles(run: Run, case: Case) -> Iterator[Line2D]:
    style = STYLES[run.model]
    line = {**_step_marker(style), "linestyle": style.line, "linewidth": 1.6}
    error = any(name.endswith(MESH_ERROR) for row in run.rows for name in row)
    label = f"{style.label} ± mesh error" if error else style.label
    yield Line2D([], [], color=style.color, label=label, **line)
    if limit := run.limit_row:
        name = limit_name(limit["bore_stretch"])
        label = f"{style.label}: {name}, {limit['pressure_kPa']:.4g} kPa"
        yield Line2D([], [], label=label, **_limit_marker(style))
    if _stops(run):
        label = f"{style.label} stops at {place(run, case, run.rows[-1])}"
        yield Line2D([], [], label=label, **_end_marker(style))


_NEUTRAL = Style("", "#555555", "none", "x", 6)


def notes_on(result: Result, shown: Sequence[Strip]) -> list[str]:
    """Return what is said below: why runs ended early, and the signs of end loads."""
    notes = [note for run in result.runs if (note := _note(run))]
    ups = {panel.up for strip in shown for panel in strip.panels}
    loads = (one for one in (table.end_force, table.end_torque) if one.column in ups)
    said = [f"{one.label}: {one.definition.rstrip('.')}" for one in loads]
    return [*notes, "; ".join(said)] if said else notes


def _note(run: Run) -> str:
    """Return the sentence that says why a run stopped early; empty if it did not."""
    if run.reached:
        return ""
    text = f"{STYLES[run.model].label}: {explanation(run.termination)}."
    return "\n".join(wrap(text, 150, lines=1))
