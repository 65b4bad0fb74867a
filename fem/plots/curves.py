"""Curves of the measures against pressure, and of a move of the free end; models in the same axes.

A curve goes on through limit points, so it may turn back.
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
from fem.plots.panels import Strip, strips
from fem.plots.style import ROUND_OFF, STYLES, ZERO, ModelStyle
from fem.quantities import table
from fem.quantities.column import IF_BONDED, MESH_ERROR, Measure, named
from fem.results.result import Result
from fem.results.run import Run
from fem.wording.run_sections import Rows, drive_rows, move_rows, place_text
from fem.wording.termination import explanation, limit_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SIDE_BY_SIDE = 3
"""Panels of a row."""

SHORT_TICKS = (-2, 4)
"""Powers of ten from which on a common factor is written above the axis."""

MANY = 40
"""A curve of more steps is marked at so many of them only."""


def save_pictures(result: Result, folder: Path) -> None:
    """Write curves.png and, where the FE model took part, shape.png into `folder`.

    Raises
    ------
    OSError
        If one cannot be written.
    """
    save_figures({"curves": curves_figure(result)}, folder, ["curves", "shape"])
    if result.shapes:
        from fem.scene.still.path import draw_shape  # a fast model alone does without

        draw_shape(result, folder / "shape.png")


def curves_figure(result: Result) -> FigureLayout:
    """Return the figure: a row of panels to each part of the path, keys and notes below."""
    shown = strips(result.case, result.runs)
    panels: list[Panel | None] = []
    for strip in shown:
        for number, up in enumerate(strip.ups):
            words = [strip.heading] if strip.heading and not number else []
            panels.append(Panel(words, partial(plot_panel, strip=strip, up=up, result=result)))
        panels += [None] * (SIDE_BY_SIDE - len(strip.ups))
    notes = notes_on(result, shown)
    return FigureLayout(result.case.title, panels, SIDE_BY_SIDE, notes=notes, ratio=1.1)


def plot_panel(axes: Axes, strip: Strip, up: str, result: Result) -> Keys:
    """Plot the column `up` of all runs into the axes of a panel; return all keys of the result."""
    x, y = [strip.end], list[float]()
    for run in result.runs:
        rows = (move_rows if strip.moved else drive_rows)(run, result.case)
        if rows:
            _plot_run(axes, run, rows, strip.across, up)
            x += [row[strip.across] for row in rows]
            y += [row[up] for row in rows]
    if max(map(abs, y)) < ROUND_OFF:
        axes.set_ylim(-1, 1)  # else the axis would show nothing but round-off
    low, high = min(x), max(x)
    if not strip.moved:
        low, high = min(0.0, low), high or 1.0
    margin = 0.03 * (high - low)
    axes.set_xlim(low - margin if low else 0.0, high + margin)
    axes.set(xlabel=named(strip.across).words, ylabel=named(up).words)
    axes.ticklabel_format(axis="y", scilimits=SHORT_TICKS)
    axes.spines[["top", "right"]].set_visible(False)
    if not strip.moved or min(y) < 0 < max(y) or up.startswith("end_"):
        axes.axhline(0, zorder=2, **ZERO)
    return keys_to(result)


def _plot_run(axes: Axes, run: Run, rows: Rows, across: str, up: str) -> None:
    """Plot one run on a part of the path: bounds, line, steps, limit points, where it stopped."""
    style, color = STYLES[run.model], STYLES[run.model].color

    def points(*columns: str) -> Array:
        """Return columns of the rows that have all of them, shape (columns, rows)."""
        known = [[row[name] for name in columns] for row in rows if columns[-1] in row]
        return np.array(known, dtype=float).reshape(-1, len(columns)).T

    x, y, error = points(across, up, f"{up}.{MESH_ERROR}")
    if len(x):
        axes.errorbar(x, y, error, fmt="none", ecolor=color, elinewidth=2.2, zorder=2)
    x, y, bonded = points(across, up, f"{up}.{IF_BONDED}")
    if len(x):
        axes.fill_between(x, y, bonded, color=color, alpha=0.18, lw=0, zorder=1)
        axes.plot(x, bonded, linestyle=":", color=color, lw=1.2, zorder=2)
    x, y = points(across, up)
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
        if chosen.any():  # a line without points would count as one in the corner of the figure
            marker = _marker(style, kind, markevery=max(1, int(chosen.sum()) // MANY))
            axes.plot(x[chosen], y[chosen], zorder=4, **marker)


def _marker(style: ModelStyle, kind: str, **changes: Any) -> dict[str, Any]:
    """Return the mark of a state; those of both models can be seen at one place."""
    fe = style.marker == "o"
    kinds: dict[str, dict[str, Any]] = {
        "step": {"marker": style.marker, "ms": style.size, "mfc": style.color if fe else "white"},
        "unstable": {"marker": "x", "ms": 5, "mew": 1.4},
        "limit": {"marker": "v", "ms": 9, "mew": 1.4, "mfc": style.color if fe else "white"},
        "end": {"marker": "o" if fe else "s", "ms": 10 if fe else 13, "mew": 1.2, "mfc": "none"},
    }
    return {"ls": "none", "mec": style.color, "clip_on": False, **kinds[kind], **changes}


def keys_to(result: Result) -> Keys:
    """Return an entry to each model and to whatever else is in the panels."""
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
    """Return whether a run stopped early elsewhere than at a limit point."""
    return not run.reached and not run.ends_at_limit


def notes_on(result: Result, shown: Sequence[Strip]) -> list[str]:
    """Return what is said below: why runs ended early, and the signs of end loads."""
    notes = [
        f"{STYLES[run.model].label}: {explanation(run.termination)}."
        for run in result.runs
        if not run.reached
    ]
    ups = {up for strip in shown for up in strip.ups}
    loads = (one for one in (table.end_force, table.end_torque) if one.column in ups)
    said = [f"{one.label}: {one.definition.rstrip('.')}" for one in loads]
    return [*notes, "; ".join(said)] if said else notes
