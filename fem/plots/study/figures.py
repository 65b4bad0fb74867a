"""The figures of a study: maps, curves or bars of each measure, and the reachable set."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas

from fem.core.arrays import Array
from fem.core.units import MINUS
from fem.plots.layout import FigureLayout, Panel, save_figures
from fem.plots.scale import range_of, scale_of, scale_of_levels
from fem.plots.study.charts import bar_label, draw_bars, draw_lines
from fem.plots.study.facets import Facet, facets
from fem.plots.study.field import NO_SOLUTION
from fem.plots.study.maps import draw_map, number_lines
from fem.plots.study.pictures import StudyPicture, motions, study_pictures
from fem.plots.study.reach import draw_reach
from fem.plots.style import STYLES
from fem.quantities import table
from fem.quantities.column import named
from fem.quantities.quantity import Trait
from fem.study.plot_data import LEVEL, PRESSURE, Axis, PlotData, plot_data
from fem.study.study_result import StudyResult

STEPS, WITH_STEPS = 3, (table.twist.name, table.displacement.name)
"""Levels of figures with several, and the measures that have such a figure."""

NAMES = [
    *sorted({quantity.picture or quantity.name for quantity in table.QUANTITIES}),
    *(f"{name}_steps" for name in WITH_STEPS),
    "reach",
]
"""Stems of all files that a study can have."""

MAX_COLUMNS = 4
"""Most panels in a row."""

CURVE_LEVELS = 4
"""Levels for which curves are drawn."""

SMALL_PANEL = 2.4
"""Greatest width of a panel (in) in figures of many."""

MAX_BARS = 24
"""Most settings in a picture of bars."""


def save_pictures(study_result: StudyResult, folder: Path) -> list[Path]:
    """Write the figures of a study into `folder`; return their files, none if there is no row.

    Raises
    ------
    OSError
        If one cannot be written.
    """
    return save_figures(dict(figures(study_result)), folder, NAMES)


def figures(study_result: StudyResult) -> Iterator[tuple[str, FigureLayout]]:
    """Yield the figures by the stems of their files."""
    data = plot_data(study_result)
    if data is None:
        return
    for picture in study_pictures(data):
        yield picture.name, picture_figure(data, picture)
        with_steps = picture.name in WITH_STEPS and len(data.numeric) > 1
        if with_steps and len(data.pick_levels(STEPS)) > 1:
            yield f"{picture.name}_steps", map_figure(data, picture, data.pick_levels(STEPS))
    yield "reach", reach_figure(data)


def picture_figure(data: PlotData, picture: StudyPicture) -> FigureLayout:
    """Return maps at one level, curves or bars, by how many numbers vary."""
    if len(data.numeric) > 1:
        return map_figure(data, picture, [data.main_level])
    return (line_figure if data.numeric else bar_figure)(data, picture)


def map_figure(data: PlotData, picture: StudyPicture, levels: Sequence[float]) -> FigureLayout:
    """Return maps over the first two numbers that vary, at each of `levels`."""
    x, y = data.numeric[:2]
    parts, notes = facets(data, (x, y))
    values = _values(parts, picture, levels)
    signed, factor = Trait.SIGNED in picture.quantity.traits, picture.quantity.factor
    scale = scale_of(picture.label, values, signed=signed, limit=picture.limit)
    panels = []
    combinations = itertools.product(picture.columns.items(), parts, data.models, levels)
    for (family, column), part, model, level in combinations:
        field, name = part.field(model, column, level, factor), data.name(level)
        title = [STYLES[model].label, *part.labels, family]
        title += [data.where(level)] if len(levels) > 1 else []
        draw = partial(draw_map, field=field, scale=scale, level=name)
        panels.append(
            Panel([*filter(None, title)], draw, partial(number_lines, bounds=scale.bounds))
        )
    if scale.extend != "neither":
        low, high = (f"{value:.4g}".replace("-", MINUS) for value in scale.span)
        unit = picture.quantity.kind.shown
        notes = [*notes, f"values beyond the scale take its end colours: {low} to {high} {unit}"]
    return FigureLayout(
        **_texts(data, _at(data, picture, levels), notes),
        panels=panels,
        columns=_columns([len(levels), len(data.models), len(parts), len(picture.columns)]),
        **shared_axes(data.rows, x, y),
        panel_width=SMALL_PANEL if len(levels) > 1 else FigureLayout.panel_width,
        scale=scale,
    )


def line_figure(data: PlotData, picture: StudyPicture) -> FigureLayout:
    """Return curves against the one number that varies."""
    (x,) = data.numeric
    levels = data.pick_levels(CURVE_LEVELS)
    parts, notes = facets(data, (x,))
    y_limits = range_of(_values(parts, picture, levels), 0.06)
    draw = partial(draw_lines, data=data, picture=picture, levels=levels)
    panels = [
        Panel([*filter(None, [*part.labels, family])], partial(draw, part=part, column=column))
        for family, column in picture.columns.items()
        for part in parts
    ]
    return FigureLayout(
        **_texts(data, _at(data, picture, levels), notes),
        panels=panels,
        columns=_columns([len(parts), len(picture.columns)]),
        x_label=x.label,
        y_label=picture.label,
        limits=(range_of(data.rows[x.column], 0.03), y_limits),
        ratio=0.75,
        scale=scale_of_levels(data.label, levels),
    )


def bar_figure(data: PlotData, picture: StudyPicture) -> FigureLayout:
    """Return bars for each setting, where only text varies."""
    parts, notes = facets(data, (), MAX_BARS)
    levels = [data.main_level]
    low, high = range_of(np.append(_values(parts, picture, levels), 0.0), 0.0)
    margin = 0.3 * (high - low)
    x_limits = (low - margin if low < 0 else 0.0, high + margin if high > 0 else 0.0)
    draw = partial(draw_bars, data=data, parts=parts, factor=picture.quantity.factor)
    panels = [
        Panel([family] if family else [], partial(draw, column=column))
        for family, column in picture.columns.items()
    ]
    lines = max(len(bar_label(part)) for part in parts)
    return FigureLayout(
        **_texts(data, _at(data, picture, levels), notes),
        panels=panels,
        columns=min(2, len(panels)),
        x_label=picture.label,
        limits=(x_limits, (len(parts) - 0.5, -0.5)),
        panel_height=max(0.5, 0.24 * len(data.models), 0.16 * lines + 0.1) * len(parts),
    )


def reach_figure(data: PlotData) -> FigureLayout:
    """Return the reachable set: twist and displacement of each setting, at all levels."""
    parts, notes = facets(data, data.numeric[:2])
    columns = motions(data.study.base)[:2]
    draw = partial(draw_reach, data=data, columns=columns)
    panels = [
        Panel([STYLES[model].label, *part.labels], partial(draw, part=part, model=model))
        for part in parts
        for model in data.models
    ]
    x, y = map(named, columns)
    heading = f"Reachable set of the free end, from rest to {data.name(data.levels[-1])}"
    levels = "pressures" if data.drive == PRESSURE else "levels"
    notes = [*notes, f"lower {levels} are drawn on top of higher ones"]
    return FigureLayout(
        **_texts(data, f"{heading}: {y.quantity.label} against {x.quantity.label}", notes),
        panels=panels,
        columns=_columns([len(data.models), len(parts)]),
        x_label=x.axis_label,
        y_label=y.axis_label,
        limits=(
            range_of(data.rows[columns[0]], 0.04),
            range_of(data.rows[columns[1]], 0.04),
        ),
        scale=scale_of_levels(data.label, data.levels),
    )


def _values(parts: Sequence[Facet], picture: StudyPicture, levels: Sequence[float]) -> Array:
    """Return all values that a picture shows at `levels`, in its unit, shape (values,)."""
    rows = pandas.concat([part.rows[part.rows[LEVEL].isin(levels)] for part in parts])
    values = rows[list(picture.columns.values())].to_numpy(float)
    return picture.quantity.factor * values.ravel()


def shared_axes(rows: pandas.DataFrame, x: Axis, y: Axis) -> dict[str, Any]:
    """Return labels, limits and shape of panels; two axes of the same unit have one scale."""
    limits = range_of(rows[x.column]), range_of(rows[y.column])
    ratio = FigureLayout.ratio
    if x.unit == y.unit:
        ratio = float(np.clip(np.ptp(limits[1]) / np.ptp(limits[0]), 0.5, 1.5))
    return {"x_label": x.label, "y_label": y.label, "limits": limits, "ratio": ratio}


def _columns(counts: Sequence[int]) -> int:
    """Return the number of panels in a row: full groups, the first of `counts` the innermost."""
    total = math.prod(counts)
    if total < MAX_COLUMNS:
        return total
    groups = [math.prod(counts[:inner]) for inner in range(1, len(counts) + 1)]
    fit = [group for group in groups if 2 <= group <= MAX_COLUMNS]
    return min(fit, key=lambda group: abs(group - math.sqrt(1.2 * total)), default=3)


def _at(data: PlotData, picture: StudyPicture, levels: Sequence[float]) -> str:
    """Return the measure and its levels."""
    title = picture.title[0].upper() + picture.title[1:]
    if len(levels) == 1:
        return f"{title} {data.where(levels[0])}"
    return f"{title} at {data.name(levels[0])} to {data.name(levels[-1])}"


def _texts(data: PlotData, heading: str, notes: Sequence[str]) -> dict[str, Any]:
    """Return title, heading and notes; each figure names models, mesh and missing curves."""
    models = " and ".join(STYLES[model].label for model in data.models)
    mesh = f" ({data.study.resolution} mesh)" if "fe" in data.models else ""
    return {
        "title": data.study.title,
        "heading": f"{heading}; {models}{mesh}",
        "notes": sentence([*notes, *_ends(data)]),
    }


def sentence(parts: Sequence[str]) -> list[str]:
    """Return one sentence made of several parts, or nothing if there are none."""
    text = "; ".join(parts)
    return [f"{text[0].upper()}{text[1:]}."] if text else []


def _ends(data: PlotData) -> Iterator[str]:
    """Yield how many curves ended before the level shown, and how many have no solution."""
    total = len(data.study.settings)
    for model in data.models:
        rows = data.rows[data.rows.model == model]
        found, reached = rows.case.nunique(), (rows[LEVEL] == data.main_level).sum()
        label = STYLES[model].label
        if reached < found:
            level = data.name(data.main_level)
            yield f"{label}: {found - reached} of {total} curves ended before {level}"
        if found < total:
            yield f"{label}: {NO_SOLUTION} for {total - found} of {total} settings"
