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
from fem.plots.study.charts import draw_bars, draw_lines, names
from fem.plots.study.facets import Facet, facets
from fem.plots.study.maps import draw_map, number_lines
from fem.plots.study.pictures import StudyPicture, motions, study_pictures
from fem.plots.study.reach import draw_reach
from fem.plots.style import STYLES
from fem.quantities import table
from fem.quantities.column import named
from fem.quantities.quantity import Trait
from fem.study.plot_data import LEVEL, Axis, PlotData, plot_data
from fem.study.study_result import StudyResult

STEPS, STAGED = 3, (table.twist.name, table.displacement.name)
"""Levels of the figures that show several, and the measures that have one."""

NAMES = [
    *sorted({quantity.picture or quantity.name for quantity in table.QUANTITIES}),
    *(f"{name}_steps" for name in STAGED),
    "reach",
]
"""Stems of all files that a study may have."""

MOST_COLUMNS = 4
"""Panels side by side at most."""

SHADES = 4
"""Levels that curves are drawn for."""

SMALL = 2.4
"""Width of a panel at most (in) in figures of many."""

MANY_BARS = 24
"""Settings in text that a picture of bars has room for."""


def save_pictures(study_result: StudyResult, folder: Path) -> list[Path]:
    """Write the figures of a study into `folder`; return their files, none if no curve has a row.

    Raises
    ------
    OSError
        If one cannot be written.
    """
    return save_figures(dict(figures(study_result)), folder, NAMES)


def figures(study_result: StudyResult) -> Iterator[tuple[str, FigureLayout]]:
    """Yield the figures by the stems of their files."""
    seen = plot_data(study_result)
    if seen is None:
        return
    for picture in study_pictures(seen):
        if len(seen.numeric) > 1:
            yield picture.name, map_figure(seen, picture, [seen.shown])
            if picture.name in STAGED and len(seen.picked(STEPS)) > 1:
                yield f"{picture.name}_steps", map_figure(seen, picture, seen.picked(STEPS))
        else:
            draw = line_figure if seen.numeric else bar_figure
            yield picture.name, draw(seen, picture)
    yield "reach", reach_figure(seen)


def map_figure(data: PlotData, picture: StudyPicture, levels: Sequence[float]) -> FigureLayout:
    """Return maps over the first two numbers that vary, at each of `levels`."""
    across, up = data.numeric[:2]
    parts, notes = facets(data, (across, up))
    values = _values(parts, picture, levels)
    signed, factor = Trait.SIGNED in picture.quantity.traits, picture.quantity.factor
    scale = scale_of(picture.label, values, signed=signed, limit=picture.limit)
    panels = []
    every = itertools.product(picture.columns.items(), parts, data.models, levels)
    for (family, column), part, model, level in every:
        field, name = part.field(model, column, level, factor), data.name(level)
        words = [STYLES[model].label, *part.words, family]
        words += [data.where(level)] if len(levels) > 1 else []
        draw = partial(draw_map, field=field, scale=scale, level=name)
        panels.append(
            Panel([*filter(None, words)], draw, partial(number_lines, bounds=scale.bounds))
        )
    if scale.extend != "neither":
        low, high = (f"{value:.4g}".replace("-", MINUS) for value in scale.span)
        unit = picture.quantity.kind.shown
        notes = [*notes, f"beyond the colours: the values go from {low} to {high} {unit}"]
    return FigureLayout(
        **_words(data, _at(data, picture, levels), notes),
        panels=panels,
        columns=_columns([len(levels), len(data.models), len(parts), len(picture.columns)]),
        **shared_axes(data.rows, across, up),
        widest=SMALL if len(levels) > 1 else FigureLayout.widest,
        scale=scale,
    )


def line_figure(data: PlotData, picture: StudyPicture) -> FigureLayout:
    """Return curves against the one number that varies."""
    (across,) = data.numeric
    levels = data.picked(SHADES)
    parts, notes = facets(data, (across,))
    up = range_of(_values(parts, picture, levels), 0.06)
    draw = partial(draw_lines, data=data, picture=picture, levels=levels)
    panels = [
        Panel([*filter(None, [*part.words, family])], partial(draw, part=part, column=column))
        for family, column in picture.columns.items()
        for part in parts
    ]
    return FigureLayout(
        **_words(data, _at(data, picture, levels), notes),
        panels=panels,
        columns=_columns([len(parts), len(picture.columns)]),
        across=across.label,
        up=picture.label,
        limits=(range_of(data.rows[across.column], 0.03), up),
        ratio=0.75,
        scale=scale_of_levels(data.label, levels),
    )


def bar_figure(data: PlotData, picture: StudyPicture) -> FigureLayout:
    """Return bars to each setting, where nothing but text varies."""
    parts, notes = facets(data, (), MANY_BARS)
    levels = [data.shown]
    low, high = range_of(np.append(_values(parts, picture, levels), 0.0), 0.0)
    room = 0.3 * (high - low)
    along = (low - room if low < 0 else 0.0, high + room if high > 0 else 0.0)
    draw = partial(draw_bars, data=data, parts=parts, factor=picture.quantity.factor)
    panels = [
        Panel([family] if family else [], partial(draw, column=column))
        for family, column in picture.columns.items()
    ]
    lines = max(len(names(part)) for part in parts)
    return FigureLayout(
        **_words(data, _at(data, picture, levels), notes),
        panels=panels,
        columns=min(2, len(panels)),
        across=picture.label,
        limits=(along, (len(parts) - 0.5, -0.5)),
        tall=max(0.5, 0.24 * len(data.models), 0.16 * lines + 0.1) * len(parts),
    )


def reach_figure(data: PlotData) -> FigureLayout:
    """Return the reachable set: where each setting brings the free end, at all levels."""
    parts, notes = facets(data, data.numeric[:2])
    columns = motions(data.study.base)[:2]
    draw = partial(draw_reach, data=data, columns=columns)
    panels = [
        Panel([STYLES[model].label, *part.words], partial(draw, part=part, model=model))
        for part in parts
        for model in data.models
    ]
    across, up = map(named, columns)
    heading = f"Reach of the free end, from rest to {data.name(data.levels[-1])}"
    notes = [*notes, "lower levels are drawn on top of higher ones"]
    return FigureLayout(
        **_words(data, f"{heading}: {up.quantity.label} against {across.quantity.label}", notes),
        panels=panels,
        columns=_columns([len(data.models), len(parts)]),
        across=across.words,
        up=up.words,
        limits=(
            range_of(data.rows[columns[0]], 0.04),
            range_of(data.rows[columns[1]], 0.04),
        ),
        scale=scale_of_levels(data.label, data.levels),
    )


def _values(parts: Sequence[Facet], picture: StudyPicture, levels: Sequence[float]) -> Array:
    """Return all values that a picture shows at `levels`, as it shows them, shape (values,)."""
    rows = pandas.concat([part.rows[part.rows[LEVEL].isin(levels)] for part in parts])
    values = rows[list(picture.columns.values())].to_numpy(float)
    return picture.quantity.factor * values.ravel()


def shared_axes(rows: pandas.DataFrame, across: Axis, up: Axis) -> dict[str, Any]:
    """Return the axes of a layout over two numbers, equally scaled if both have the same unit."""
    limits = range_of(rows[across.column]), range_of(rows[up.column])
    ratio = FigureLayout.ratio
    if across.unit == up.unit:
        ratio = float(np.clip(np.ptp(limits[1]) / np.ptp(limits[0]), 0.5, 1.5))
    return {"across": across.label, "up": up.label, "limits": limits, "ratio": ratio}


def _columns(counts: Sequence[int]) -> int:
    """Return how many panels are side by side: whole groups, first of `counts` the innermost."""
    total = math.prod(counts)
    if total < MOST_COLUMNS:
        return total
    groups = [math.prod(counts[:inner]) for inner in range(1, len(counts) + 1)]
    fit = [group for group in groups if 2 <= group <= MOST_COLUMNS]
    return min(fit, key=lambda group: abs(group - math.sqrt(1.2 * total)), default=3)


def _at(data: PlotData, picture: StudyPicture, levels: Sequence[float]) -> str:
    """Return what is shown and at which level."""
    title = picture.title[0].upper() + picture.title[1:]
    if len(levels) == 1:
        return f"{title} {data.where(levels[0])}"
    return f"{title} at {data.name(levels[0])} to {data.name(levels[-1])}"


def _words(data: PlotData, heading: str, notes: Sequence[str]) -> dict[str, Any]:
    """Return title, heading and notes, with what every figure says of the study."""
    words = " and ".join(STYLES[model].label for model in data.models)
    mesh = f" ({data.study.resolution} mesh)" if "fe" in data.models else ""
    return {
        "title": data.study.title,
        "heading": f"{heading}; {words}{mesh}",
        "notes": sentence([*notes, *_ends(data)]),
    }


def sentence(said: Sequence[str]) -> list[str]:
    """Return one sentence of several parts, or nothing if there are none."""
    text = "; ".join(said)
    return [f"{text[0].upper()}{text[1:]}."] if text else []


def _ends(data: PlotData) -> Iterator[str]:
    """Yield how many curves ended before the level shown, and how many were not found at all."""
    asked = len(data.study.settings)
    for model in data.models:
        rows = data.rows[data.rows.model == model]
        found, there = rows.case.nunique(), (rows[LEVEL] == data.shown).sum()
        label = STYLES[model].label
        if there < found:
            level = data.name(data.shown)
            yield f"{label}: {found - there} of {asked} curves ended before {level}"
        if found < asked:
            yield f"{label}: nothing found of {asked - found} of {asked} settings"
