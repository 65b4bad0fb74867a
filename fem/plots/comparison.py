"""Pictures of a comparison: model against measurement, and residual against pressure.

One file for each measured quantity, the models side by side. Values of a text setting, such as the
slack rules, differ in colour and marker.
"""

from __future__ import annotations

import itertools
import re
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.patches import Patch

from fem.compare.agreement import ALL
from fem.compare.comparison import Comparison
from fem.compare.match import MODEL, RESIDUAL
from fem.core.units import MINUS
from fem.measurements.columns import PRESSURE, measures
from fem.plots.layout import FigureLayout, Keys, Panel, save_figures
from fem.plots.scale import range_of
from fem.plots.style import PALE, SMALL_SIZE, STYLES
from fem.quantities.column import BAND, Measure
from fem.wording.comparison import count_text
from fem.wording.picture_text import GREY

if TYPE_CHECKING:
    import pandas
    from matplotlib.axes import Axes

LINE: dict[str, Any] = {"color": GREY, "lw": 1.0, "zorder": 2}
"""Line of agreement of model and measurement."""

MARKS = [
    *(("#0072b2", "o"), ("#d55e00", "^"), ("#009e73", "s"), ("#cc79a7", "D")),
    *(("#7a5195", "v"), ("#8c6d1f", "P"), ("#4d4d4d", "X"), ("#56b4e9", "<")),
]
"""Colours and markers of groups, used in turn; the first differ for each colour blindness."""

GROUP_OFFSET = 0.012
"""Offset between groups along the pressure axis, as a share of its range."""


def save_pictures(comparison: Comparison, folder: Path) -> list[Path]:
    """Draw ``compare_<quantity>.png`` into `folder`, and return the files.

    Files of an earlier comparison, of quantities that are not measured now, are removed.

    Raises
    ------
    OSError
        If they cannot be written.
    """
    figures = {
        _stem(measure): comparison_figure(comparison, measure)
        for measure in comparison.bench.measures
    }
    return save_figures(figures, folder, map(_stem, measures(comparison.study.base).values()))


def _stem(measure: Measure) -> str:
    """Return the stem of the file of a quantity."""
    return f"compare_{re.sub(r'[^A-Za-z0-9_-]', '_', measure.name)}"


def comparison_figure(comparison: Comparison, measure: Measure) -> FigureLayout:
    """Return the figure of a quantity: a column of two panels for each model."""
    panels = [
        Panel([], partial(draw, comparison=comparison, measure=measure, model=model))
        for draw in (_draw_parity, _draw_residual)
        for model in comparison.models
    ]
    notes = " ".join(comparison.bench.notes)
    first = re.split(r"(?<=[.!?])\s", notes, maxsplit=1)[0]
    return FigureLayout(
        comparison.study.title,
        panels,
        len(comparison.models),
        heading=f"Measurements: {comparison.bench.name}. {first}",
        ratio=1.0,
        heights=(1.0, 0.5),
        panel_width=4.2,
    )


def _groups(
    comparison: Comparison, model: str
) -> list[tuple[str, pandas.DataFrame, dict[str, Any]]]:
    """Return the measurements of a model by the values of the first text setting.

    Each group has its name, its rows, and the style of `errorbar`.
    """
    rows = comparison.rows[comparison.rows.model == model]
    rules = comparison.bench.text_settings
    parts = rows.groupby(rules[0], sort=False) if rules else [("measurements", rows)]
    name = f"{rules[0].replace('_', ' ')}: " if rules else ""
    style = {"ls": "none", "ms": 4.5, "mfc": "white", "elinewidth": 0.6, "alpha": 0.9, "zorder": 3}
    return [
        (name + str(value), part, {**style, "marker": marker, "mec": color, "ecolor": color})
        for (value, part), (color, marker) in zip(parts, itertools.cycle(MARKS), strict=False)
    ]


def _band(comparison: Comparison, measure: Measure) -> float:
    """Return half the width of the band of the measurements, 0 if it is not the same for all."""
    if measure.std not in comparison.rows:
        return 0.0
    std = comparison.rows[measure.std]
    return BAND * float(std.iloc[0]) if std.nunique() == 1 else 0.0


def _draw_parity(axes: Axes, comparison: Comparison, measure: Measure, model: str) -> Keys:
    both = comparison.rows[[measure.column, measure.column + MODEL]]  # of all models
    ends, band = np.array(range_of(both, 0.06)), _band(comparison, measure)
    keys: Keys = {}
    for name, rows, style in _groups(comparison, model):
        places = rows[measure.column], rows[measure.column + MODEL]
        keys[name] = axes.errorbar(*places, xerr=rows.get(measure.std), **style).lines[0]
    (keys["model = measurement"],) = axes.plot(ends, ends, **LINE)
    if band:
        axes.fill_between(ends, ends - band, ends + band, color=PALE, lw=0, zorder=1)
        keys["95 % band of the measurement"] = Patch(color=PALE)
    axes.set(xlim=ends, ylim=ends, xlabel=f"measured: {measure.axis_label}")
    axes.set_ylabel(f"{STYLES[model].label}: {measure.axis_label}")
    place: dict[str, Any] = {"transform": axes.transAxes, "va": "top", "linespacing": 1.4}
    axes.text(0.03, 0.97, _agreement(comparison, measure, model), size=SMALL_SIZE, **place)
    return keys


def _draw_residual(axes: Axes, comparison: Comparison, measure: Measure, model: str) -> Keys:
    span = float(np.ptp(comparison.rows[PRESSURE.column])) or 1.0
    if band := _band(comparison, measure):
        axes.axhspan(-band, band, color=PALE, lw=0, zorder=1)
    axes.axhline(0, **LINE)
    groups = _groups(comparison, model)
    for number, (_, rows, style) in enumerate(groups):
        offset = (number - (len(groups) - 1) / 2) * GROUP_OFFSET * span
        places = rows[PRESSURE.column] + offset, rows[measure.column + RESIDUAL]
        axes.errorbar(*places, yerr=rows.get(measure.std), **style)
    residuals = comparison.rows[measure.column + RESIDUAL]
    most = max(0.0, *residuals.abs().dropna(), band) * 1.15 or 1.0
    axes.set(ylim=(-most, most), xlabel=PRESSURE.axis_label)
    axes.set_ylabel(f"model − measured [{measure.unit}]")
    return {}


def _agreement(comparison: Comparison, measure: Measure, model: str) -> str:
    """Return the measures of agreement of a model, one a line."""
    table = comparison.summary
    chosen = (table.model == model) & (table.measure == measure.name) & (table.group == ALL)
    row = table[chosen].iloc[0]
    unit = measure.unit
    if not row.points:
        return "no point reached"
    lines = [
        count_text(row.points, "point"),
        f"bias {row.bias:+.3g} {unit}",
        f"RMS error {row.rms_error:.3g} {unit}",
    ]
    if row.r2 == row.r2:
        lines.append(f"R² {row.r2:.3f}")
    if row.within_95 == row.within_95:
        lines.append(f"{100 * row.within_95:.0f} % within the band")
    if row.not_reached:
        lines.append(f"{row.not_reached} not reached")
    return "\n".join(lines).replace("-", MINUS)
