"""Curves of the measures against pressure, and of a move of the free end; models in the same axes.

A curve goes on through limit points, so it may turn back.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.lines import Line2D

from fem.case.case import Case
from fem.plots.layout import FigureLayout, Keys, Panel
from fem.plots.panels import Panel as Columns
from fem.plots.panels import Strip, label_of, strips
from fem.plots.style import ROUND_OFF, STYLES, ZERO, Style
from fem.quantities import table
from fem.quantities.column import IF_BONDED, MESH_ERROR, Measure
from fem.results.result import Result
from fem.results.run import Run
from fem.wording.run_sections import Rows, place
from fem.wording.termination import explanation, limit_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SIDE_BY_SIDE = 3
"""Panels of a row."""

SHORT_TICKS = (-2, 4)
"""Powers of ten from which on a common factor is written above the axis."""

MANY = 40
"""A curve of more steps is marked at so many of them only."""

NEUTRAL = Style("", "#555555", "none", "x", 6)


def curves_figure(result: Result) -> FigureLayout:
    """Return the figure: a row of panels to each part of the path, keys and notes below."""
    shown = strips(result.case, result.runs)
    keys: Keys = {
        str(handle.get_label()): handle for handle in legend_handles(result.case, result.runs)
    }
    panels: list[Panel | None] = []
    for strip in shown:
        for number, columns in enumerate(strip.panels):
            words = [strip.heading] if strip.heading and not number else []
            draw = partial(_draw, strip=strip, columns=columns, result=result, keys=keys)
            panels.append(Panel(words, draw))
        panels += [None] * (SIDE_BY_SIDE - len(strip.panels))
    notes = notes_on(result, shown)
    return FigureLayout(result.case.title, panels, SIDE_BY_SIDE, notes=notes, ratio=1.1)


def _draw(axes: Axes, strip: Strip, columns: Columns, result: Result, keys: Keys) -> Keys:
    plot_panel(axes, strip, columns, result)
    return keys


def plot_panel(axes: Axes, strip: Strip, columns: Columns, result: Result) -> None:
    """Plot the curves of all runs into the axes of a panel."""
    across, up = [_requested_end(strip, result.case)], list[float]()
    for run in result.runs:
        rows = strip.rows(run, result.case)
        if rows:
            _plot_run(axes, run, rows, columns)
            across += [row[columns.across] for row in rows]
            up += [row[columns.up] for row in rows]
    if max(map(abs, up)) < ROUND_OFF:
        axes.set_ylim(-1, 1)  # else the axis would show nothing but round-off
    low, high = min(across), max(across)
    if not strip.moved:
        low, high = min(0.0, low), high or 1.0
    margin = 0.03 * (high - low)
    axes.set_xlim(low - margin if low else 0.0, high + margin)
    axes.set(xlabel=label_of(columns.across), ylabel=label_of(columns.up))
    axes.ticklabel_format(axis="y", scilimits=SHORT_TICKS)
    axes.spines[["top", "right"]].set_visible(False)
    if not strip.moved or min(up) < 0 < max(up) or columns.up.startswith("end_"):
        axes.axhline(0, zorder=2, **ZERO)


def _requested_end(strip: Strip, case: Case) -> float:
    """Return how far a panel must reach across, 0 for no farther than its curves."""
    if case.move and strip.moved:
        way = case.move.displacement
        return way if way is not None else float(np.degrees(case.move.twist or 0.0))
    return case.pressure.end * 1e3 if case.pressure else 0.0


def _plot_run(axes: Axes, run: Run, rows: Rows, columns: Columns) -> None:
    """Plot the curve of one run: its bounds, line, steps, limit points, and where it stopped."""
    style = STYLES[run.model]
    _plot_bounds(axes, style, rows, columns)
    axes.plot(*_points(rows, columns), linestyle=style.line, color=style.color, lw=1.6, zorder=3)
    crossed = [row for row in rows if not row["stable"] and (row["demanded"] or run.beyond(row))]
    marks = {
        "step": [row for row in rows if row["demanded"] and row["stable"]],
        "unstable": crossed,
        "limit": [row for row in rows if row["limit"]],
        "end": rows[-1:] if _stops(run) and rows[-1] is run.rows[-1] else [],
    }
    for kind, chosen in marks.items():
        if chosen:  # a line without points would count as one in the corner of the figure
            marker = _marker(style, kind, markevery=max(1, len(chosen) // MANY))
            axes.plot(*_points(chosen, columns), zorder=4, **marker)


def _points(rows: Rows, columns: Columns, up: str = "") -> tuple[np.ndarray[Any, Any], ...]:
    """Return places across and up, shapes (rows,)."""
    names = columns.across, up or columns.up
    return tuple(np.array([row[name] for row in rows], dtype=float) for name in names)


def _plot_bounds(axes: Axes, style: Style, rows: Rows, columns: Columns) -> None:
    """Plot the mesh error of steps, and the curve of bonded threads, where they are known."""
    error, bonded = f"{columns.up}.{MESH_ERROR}", f"{columns.up}.{IF_BONDED}"
    if known := [row for row in rows if error in row]:
        (across, up), (_, size) = _points(known, columns), _points(known, columns, error)
        bars: dict[str, Any] = {"ecolor": style.color, "elinewidth": 2.2, "zorder": 2}
        axes.errorbar(across, up, size, fmt="none", **bars)
    if known := [row for row in rows if bonded in row]:
        (across, up), (_, other) = _points(known, columns), _points(known, columns, bonded)
        axes.fill_between(across, up, other, color=style.color, alpha=0.18, lw=0, zorder=1)
        axes.plot(across, other, linestyle=":", color=style.color, lw=1.2, zorder=2)


def _stops(run: Run) -> bool:
    """Return whether a run stopped early elsewhere than at a limit point."""
    return not run.reached and not run.ends_at_limit


def _marker(style: Style, kind: str, **changes: Any) -> dict[str, Any]:
    """Return the mark of a state; those of both models can be seen at one place."""
    fe = style.marker == "o"
    kinds: dict[str, dict[str, Any]] = {
        "step": {"marker": style.marker, "ms": style.size, "mfc": style.color if fe else "white"},
        "unstable": {"marker": "x", "ms": 5, "mew": 1.4},
        "limit": {"marker": "v", "ms": 9, "mew": 1.4, "mfc": style.color if fe else "white"},
        "end": {"marker": "o" if fe else "s", "ms": 10 if fe else 13, "mew": 1.2, "mfc": "none"},
    }
    return {"ls": "none", "mec": style.color, "clip_on": False, **kinds[kind], **changes}


def legend_handles(case: Case, runs: Sequence[Run]) -> list[Line2D]:
    """Return an entry to each model and to whatever else is in the panels."""
    handles = [handle for run in runs for handle in _run_handles(run, case)]
    rows = [row for run in runs for row in run.rows]
    names = {name for row in rows for name in row}
    if any(not row["stable"] and not row["limit"] for row in rows):
        handles.append(Line2D([], [], label="unstable", **_marker(NEUTRAL, "unstable")))
    if any(name.endswith(IF_BONDED) for name in names):
        blue = STYLES["fe"].color
        handles.append(Line2D([], [], ls=":", lw=1.2, color=blue, label="FE, threads bonded"))
    return handles


def _run_handles(run: Run, case: Case) -> Iterator[Line2D]:
    style = STYLES[run.model]
    line = _marker(style, "step", ls=style.line, lw=1.6)
    error = any(name.endswith(MESH_ERROR) for row in run.rows for name in row)
    label = f"{style.label} ± mesh error" if error else style.label
    yield Line2D([], [], color=style.color, label=label, **line)
    if limit := run.limit_row:
        name = limit_name(limit["bore_stretch"])
        label = f"{style.label}: {name}, {Measure(table.pressure).text(limit)}"
        yield Line2D([], [], label=label, **_marker(style, "limit"))
    if _stops(run):
        label = f"{style.label} stops at {place(run, case, run.rows[-1])}"
        yield Line2D([], [], label=label, **_marker(style, "end"))


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
    return f"{STYLES[run.model].label}: {explanation(run.termination)}."
