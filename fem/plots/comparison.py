"""The pictures of a comparison: model over bench, and residual over pressure.

A file to each measured quantity, the models side by side. Values of a text setting, such as the
slack rules, are told apart by colour and by the shape of the marks.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from fem.compare.agreement import ALL
from fem.compare.comparison import Comparison
from fem.compare.match import MODEL, RESIDUAL
from fem.core.arrays import Array
from fem.core.statistics import BAND
from fem.measurements.columns import GAUGE, measures
from fem.plots.curves import PALE, STYLES
from fem.quantities.column import Measure
from fem.wording.comparison import counted
from fem.wording.glyphs import save_figure
from fem.wording.picture_text import DPI, GREY, INK, TITLE_SIZE, title_lines, wrap, write

if TYPE_CHECKING:
    import pandas
    from matplotlib.axes import Axes

WIDTH = {1: 6.4, 2: 10.5}
"""Width of the figure (in) by the number of models."""

LEFT, RIGHT, BETWEEN = 0.85, 0.25, 0.95
"""Room beside the panels and between them (in)."""

LOW, FOOT = 2.3, 0.62
"""Height of the lower panels, and the room below each (in)."""

MARKS = [
    *(("#0072b2", "o"), ("#d55e00", "^"), ("#009e73", "s"), ("#cc79a7", "D")),
    *(("#7a5195", "v"), ("#8c6d1f", "P"), ("#4d4d4d", "X"), ("#56b4e9", "<")),
]
"""Colour and shape; the first stay apart for each kind of colour blindness. Beyond, they recur."""

MOST_NOTES = 4
"""Lines of the notes on the bench."""

SPREAD = 0.012
"""Groups are set beside each other by this share of the axis of pressure."""


class Group(NamedTuple):
    """Measurements that are marked alike."""

    label: str
    rows: pandas.DataFrame
    color: str
    marker: str


def save_pictures(comparison: Comparison, folder: Path) -> list[Path]:
    """Draw ``compare_<quantity>.png`` into `folder`, and return the files.

    Those of an earlier comparison, of quantities that are not measured now, are removed.

    Raises
    ------
    OSError
        If they cannot be written.
    """
    for measure in measures(comparison.study.base).values():
        _file(folder, measure).unlink(missing_ok=True)
    files = []
    for measure in comparison.bench.measures:
        files.append(_file(folder, measure))
        save_figure(plot(comparison, measure), files[-1], dpi=DPI, facecolor="white")
    return files


def _file(folder: Path, measure: Measure) -> Path:
    """Return the file of the picture of a quantity."""
    name = re.sub(r"[^A-Za-z0-9_-]", "_", measure.name)
    return folder / f"compare_{name}.png"


def plot(comparison: Comparison, measure: Measure) -> Figure:
    """Return the figure of a quantity: a column of two panels to each model."""
    models = comparison.models
    wide = WIDTH[len(models)]
    panel = (wide - LEFT - RIGHT - BETWEEN * (len(models) - 1)) / len(models)
    title = title_lines(comparison.study.title, 0.9 * wide)
    source = _source(comparison, int(11.5 * wide))
    handles = _handles(comparison, measure)
    columns = 2 * len(models)
    keys = 0.23 * -(-len(handles) // columns) + 0.1
    lower = keys + FOOT
    upper = lower + LOW + FOOT
    top = upper + panel + 0.2  # the upper panels are square
    notes = top + 0.17 * len(source)
    height = notes + 0.18 + 0.2 * len(title)
    figure = Figure(figsize=(wide, height))
    _print(figure, "\n".join(title), height - 0.12, size=TITLE_SIZE, weight="bold")
    _print(figure, "\n".join(source), notes, size=8.5)
    for number, model in enumerate(models):
        left = (LEFT + number * (panel + BETWEEN)) / wide
        groups = _groups(comparison, model)
        axes = figure.add_axes((left, upper / height, panel / wide, panel / height))
        _plot_parity(axes, comparison, measure, groups, model)
        axes = figure.add_axes((left, lower / height, panel / wide, LOW / height))
        _plot_residual(axes, comparison, measure, groups)
    figure.legend(
        handles=handles,
        loc="lower left",
        bbox_to_anchor=(0.4 / wide, 0.04 / height),
        ncols=columns,
        frameon=False,
        fontsize=9,
        labelcolor=INK,
    )
    return figure


def _print(figure: Figure, text: str, level: float, **style: Any) -> None:
    """Print plain text from its upper left corner at `level` (in)."""
    wide, height = figure.get_size_inches()
    place = LEFT / wide, level / height
    write(figure, *place, text, **style)


def _source(comparison: Comparison, letters: int) -> list[str]:
    """Return where the measurements come from: the file, and the first sentence of its notes."""
    notes = " ".join(comparison.bench.notes)
    first = re.split(r"(?<=[.!?])\s", notes, maxsplit=1)[0]
    return wrap(f"bench: {comparison.bench.name}. {first}", letters, lines=MOST_NOTES)


def _groups(comparison: Comparison, model: str) -> list[Group]:
    """Return the measurements of a model by the values of the first text setting."""
    rows = comparison.rows[comparison.rows.model == model]
    rules = comparison.bench.rules
    parts = list(rows.groupby(rules[0], sort=False)) if rules else [("measurements", rows)]
    return [
        Group(str(value), part, *MARKS[number % len(MARKS)])
        for number, (value, part) in enumerate(parts)
    ]


def _span(comparison: Comparison, measure: Measure) -> Array:
    """Return the ends of both axes, the same for all models, shape (2,)."""
    rows = comparison.rows
    both = rows[[measure.column, measure.column + MODEL]].to_numpy(dtype=float)
    low, high = np.nanmin(both), np.nanmax(both)
    margin = 0.06 * (high - low) or 1.0
    return np.array([low - margin, high + margin])


def _band(comparison: Comparison, measure: Measure) -> float:
    """Return half of the band of the measurements, 0 if it is not the same for all."""
    if measure.std not in comparison.rows:
        return 0.0
    std = comparison.rows[measure.std]
    return BAND * float(std.iloc[0]) if std.nunique() == 1 else 0.0


def _plot_parity(
    axes: Axes,
    comparison: Comparison,
    measure: Measure,
    groups: Sequence[Group],
    model: str,
) -> None:
    ends, band = _span(comparison, measure), _band(comparison, measure)
    if band:
        axes.fill_between(ends, ends - band, ends + band, color=PALE, lw=0, zorder=1)
    axes.plot(ends, ends, color=GREY, lw=1.0, zorder=2)
    for group in groups:
        rows = group.rows
        std = rows.get(measure.std)
        axes.errorbar(
            rows[measure.column], rows[measure.column + MODEL], xerr=std, **_marked(group)
        )
    axes.set_xlim(*ends)
    axes.set_ylim(*ends)
    name = measure.words
    _dress(axes, f"bench: {name}", f"{STYLES[model].label}: {name}")
    axes.text(
        0.03,
        0.97,
        _figures(comparison, measure, model),
        transform=axes.transAxes,
        va="top",
        size=8.5,
        color=INK,
        linespacing=1.4,
    )


def _plot_residual(
    axes: Axes, comparison: Comparison, measure: Measure, groups: Sequence[Group]
) -> None:
    pressures = comparison.rows[GAUGE.column]
    reach = float(np.ptp(pressures)) or 1.0
    if band := _band(comparison, measure):
        axes.axhspan(-band, band, color=PALE, lw=0, zorder=1)
    axes.axhline(0, color=GREY, lw=1.0, zorder=2)
    for number, group in enumerate(groups):
        rows = group.rows
        beside = (number - (len(groups) - 1) / 2) * SPREAD * reach
        std = rows.get(measure.std)
        axes.errorbar(
            rows[GAUGE.column] + beside, rows[measure.column + RESIDUAL], yerr=std, **_marked(group)
        )
    residuals = comparison.rows[measure.column + RESIDUAL]
    most = max(0.0, *residuals.abs().dropna(), band) * 1.15 or 1.0
    axes.set_ylim(-most, most)
    _dress(axes, GAUGE.words, f"model − bench [{measure.unit}]")


def _marked(group: Group) -> dict[str, Any]:
    return {
        "linestyle": "none",
        "marker": group.marker,
        "markersize": 4.5,
        "markerfacecolor": "white",
        "markeredgecolor": group.color,
        "markeredgewidth": 1.0,
        "ecolor": group.color,
        "elinewidth": 0.6,
        "alpha": 0.9,
        "zorder": 3,
    }


def _figures(comparison: Comparison, measure: Measure, model: str) -> str:
    """Return the figures of agreement of a model, a line each."""
    table = comparison.summary
    chosen = (table.model == model) & (table.measure == measure.name) & (table.group == ALL)
    row = table[chosen].iloc[0]
    unit = measure.unit
    if not row.points:
        return "no point is reached"
    lines = [
        counted(row.points, "point"),
        f"bias {row.bias:+.3g} {unit}",
        f"RMS error {row.rms_error:.3g} {unit}",
    ]
    if row.r2 == row.r2:
        lines.append(f"R² {row.r2:.3f}")
    if row.within_95 == row.within_95:
        lines.append(f"{100 * row.within_95:.0f} % within the band")
    if row.not_reached:
        lines.append(f"{row.not_reached} not reached")
    return "\n".join(lines).replace("-", "\N{MINUS SIGN}")


def _handles(comparison: Comparison, measure: Measure) -> list[Any]:
    """Return the entries of the legend."""
    handles: list[Any] = []
    rules = comparison.bench.rules
    for group in _groups(comparison, comparison.models[0]):
        name = f"{rules[0].replace('_', ' ')}: {group.label}" if rules else group.label
        style = _marked(group)
        for key in ("ecolor", "elinewidth"):
            del style[key]
        handles.append(Line2D([], [], label=name, **style))
    handles.append(Line2D([], [], color=GREY, lw=1.0, label="model = bench"))
    if _band(comparison, measure):
        handles.append(Patch(color=PALE, label="95 % band of the measurement"))
    return handles


def _dress(axes: Axes, across: str, up: str) -> None:
    """Give a panel its labels and grid."""
    axes.set_xlabel(across, color=INK)
    axes.set_ylabel(up, color=INK)
    axes.grid(color=PALE, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.tick_params(colors=INK, labelsize=9, length=3)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color("#7f7f7f")
