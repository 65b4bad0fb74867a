"""Curves of the measures against pressure and during a move of the free end, all models together.

A curve continues through limit points, so it may turn back.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.lines import Line2D

from fem.core.arrays import Array
from fem.plots.layout import FigureLayout, Keys, Panel, save_figures
from fem.plots.panels import PathSection, path_sections
from fem.plots.style import ROUND_OFF, STYLES, ZERO, ModelStyle
from fem.quantities import table
from fem.quantities.column import IF_BONDED, MESH_ERROR, Measure, named
from fem.results.result import Result
from fem.results.run import Run
from fem.wording.run_sections import Rows, drive_rows, move_rows, place_text
from fem.wording.termination import explanation, limit_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes

COLUMNS = 3
"""Panels in a row."""

SHORT_TICKS = (-2, 4)
"""Powers of ten beyond which a common factor is written above the axis."""

MAX_MARKERS = 40
"""Approximate greatest number of markers on a curve."""


def save_pictures(result: Result, folder: Path) -> None:
    """Write curves.png and, if the result has shapes, shape.png into `folder`.

    Raises
    ------
    OSError
        If one cannot be written.
    """
    save_figures({"curves": curves_figure(result)}, folder, ["curves", "shape"])
    if result.shapes:
        from fem.scene.still.path import draw_shape  # slow to import

        draw_shape(result, folder / "shape.png")


def curves_figure(result: Result, columns: Sequence[str] = ()) -> FigureLayout:
    """Return the figure: a row of panels for each part of the path, legend and notes below.

    With `columns` of the step table, these are drawn instead of the motion.
    """
    sections = path_sections(result.case, result.runs, columns)
    across = min(COLUMNS, max(len(section.ys) for section in sections))
    panels: list[Panel | None] = []
    for section in sections:
        for number, y in enumerate(section.ys):
            title = [section.heading] if section.heading and not number else []
            panels.append(
                Panel(title, partial(plot_panel, section=section, y_column=y, result=result))
            )
        panels += [None] * (-len(section.ys) % across)
    notes = notes_on(result, sections)
    return FigureLayout(result.case.title, panels, across, notes=notes, ratio=1.1)


def plot_panel(axes: Axes, section: PathSection, y_column: str, result: Result) -> Keys:
    """Plot a column of all runs into the axes of a panel; return all legend entries."""
    x, y = [section.end], list[float]()
    for run in result.runs:
        rows = (move_rows if section.moved else drive_rows)(run, result.case)
        if rows:
            _plot_run(axes, run, rows, section.x, y_column)
            x += [row[section.x] for row in rows]
            y += [row[y_column] for row in rows]
    if max(map(abs, y)) < ROUND_OFF:
        axes.set_ylim(-1, 1)  # otherwise the axis would only show round-off
    low, high = min(x), max(x)
    if not section.moved:
        low, high = min(0.0, low), high or 1.0
    margin = 0.03 * (high - low)
    axes.set_xlim(low - margin if low else 0.0, high + margin)
    axes.set(xlabel=named(section.x).axis_label, ylabel=named(y_column).axis_label)
    axes.ticklabel_format(axis="y", scilimits=SHORT_TICKS)
    axes.spines[["top", "right"]].set_visible(False)
    if not section.moved or min(y) < 0 < max(y) or y_column.startswith("end_"):
        axes.axhline(0, zorder=2, **ZERO)
    return legend_entries(result)


def _plot_run(axes: Axes, run: Run, rows: Rows, x_column: str, y_column: str) -> None:
    """Plot one run on a part of the path: bounds, line, steps, limit points, early end."""
    style, color = STYLES[run.model], STYLES[run.model].color

    def points(*columns: str) -> Array:
        """Return columns of the rows that have all of them, shape (columns, rows)."""
        known = [[row[name] for name in columns] for row in rows if columns[-1] in row]
        return np.array(known, dtype=float).reshape(-1, len(columns)).T

    x, y, error = points(x_column, y_column, f"{y_column}.{MESH_ERROR}")
    if len(x):
        axes.errorbar(x, y, error, fmt="none", ecolor=color, elinewidth=2.2, zorder=2)
    x, y, bonded = points(x_column, y_column, f"{y_column}.{IF_BONDED}")
    if len(x):
        axes.fill_between(x, y, bonded, color=color, alpha=0.18, lw=0, zorder=1)
        axes.plot(x, bonded, linestyle=":", color=color, lw=1.2, zorder=2)
    x, y = points(x_column, y_column)
    axes.plot(x, y, linestyle=style.line, color=color, lw=1.6, zorder=3)
    requested, stable, limit = (
        np.array([row[name] for row in rows], dtype=bool)
        for name in ("requested", "stable", "limit")
    )
    last = np.array([row is run.rows[-1] for row in rows])
    marks = {
        "step": requested & stable,
        "unstable": ~stable & (requested | [run.beyond(row) for row in rows]),
        "limit": limit,
        "end": last & _stops(run),
    }
    for kind, chosen in marks.items():
        if chosen.any():  # an empty line would count as a point at the origin
            marker = _marker(style, kind, markevery=max(1, int(chosen.sum()) // MAX_MARKERS))
            axes.plot(x[chosen], y[chosen], zorder=4, **marker)


def _marker(style: ModelStyle, kind: str, **changes: Any) -> dict[str, Any]:
    """Return the marker of a state; those of both models are visible at the same place."""
    fe = style.marker == "o"
    kinds: dict[str, dict[str, Any]] = {
        "step": {"marker": style.marker, "ms": style.size, "mfc": style.color if fe else "white"},
        "unstable": {"marker": "x", "ms": 5, "mew": 1.4},
        "limit": {"marker": "v", "ms": 9, "mew": 1.4, "mfc": style.color if fe else "white"},
        "end": {"marker": "o" if fe else "s", "ms": 10 if fe else 13, "mew": 1.2, "mfc": "none"},
    }
    return {"ls": "none", "mec": style.color, "clip_on": False, **kinds[kind], **changes}


def legend_entries(result: Result) -> Keys:
    """Return legend entries for each model and for what else is in the panels."""
    keys: Keys = {}
    for run in result.runs:
        style = STYLES[run.model]
        error = any(name.endswith(MESH_ERROR) for row in run.rows for name in row)
        line = _marker(style, "step", ls=style.line, lw=1.6, color=style.color)
        keys[f"{style.label} ± mesh error" if error else style.label] = Line2D([], [], **line)
        if limit := run.limit_row:
            at = f"{limit_name(limit['bore_stretch'])}, {Measure(table.pressure).text(limit)}"
            keys[f"{style.label}: {at}"] = Line2D([], [], **_marker(style, "limit"))
        if _stops(run):
            at = place_text(run, result.case, run.rows[-1])
            keys[f"{style.label} stops at {at}"] = Line2D([], [], **_marker(style, "end"))
    rows = [row for run in result.runs for row in run.rows]
    if any(not row["stable"] and not row["limit"] for row in rows):
        keys["unstable"] = Line2D([], [], **_marker(STYLES["fe"], "unstable", mec="#555555"))
    if any(name.endswith(IF_BONDED) for row in rows for name in row):
        keys["FE, threads bonded"] = Line2D([], [], ls=":", lw=1.2, color=STYLES["fe"].color)
    return keys


def _stops(run: Run) -> bool:
    """Return whether a run stopped early, but not at a limit point."""
    return not run.reached and not run.ends_at_limit


def notes_on(result: Result, sections: Sequence[PathSection]) -> list[str]:
    """Return the notes below: why runs ended early, and the definitions of end loads."""
    notes = [
        f"{STYLES[run.model].label}: {explanation(run.termination)}."
        for run in result.runs
        if not run.reached
    ]
    columns = {column for section in sections for column in section.ys}
    loads = (one for one in (table.end_force, table.end_torque) if one.column in columns)
    return [*notes, *(f"{one.label}: {one.definition}" for one in loads)]
