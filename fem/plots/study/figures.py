"""The figures of a study: maps, curves or bars of each measure, and the reachable set."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.core.arrays import Array
from fem.core.units import MINUS
from fem.plots.layout import FigureLayout, Limits, Panel, save_figures
from fem.plots.panels import label_of
from fem.plots.scale import scale_of, scale_of_levels
from fem.plots.study.bars import draw_bars, names
from fem.plots.study.facets import facets
from fem.plots.study.lines import draw_lines
from fem.plots.study.maps import draw_map, number_lines
from fem.plots.study.measures import Measure, measures, motions, picture_names
from fem.plots.study.reach import draw_reach
from fem.plots.style import ROUND_OFF, STYLES
from fem.quantities import table
from fem.study.plot_data import LEVEL, Axis, Survey, survey
from fem.study.study_result import Outcome

if TYPE_CHECKING:
    import pandas

STEPS, STAGED = 3, (table.twist.name, table.displacement.name)
"""Levels of the figures that show several, and the measures that have one."""

NAMES = [*picture_names(), *(f"{name}_steps" for name in STAGED), "reach"]
"""Stems of all files that a study may have."""

MOST_COLUMNS = 4
"""Panels side by side at most."""

SHADES = 4
"""Levels that curves are drawn for."""

SMALL = 2.4
"""Width of the panels that show several levels at most (in)."""

MANY_BARS = 24
"""Settings in text that a picture of bars has room for."""


def save_pictures(outcome: Outcome, folder: Path) -> list[Path]:
    """Write the figures of a study into `folder`; return their files, none if no curve has a row.

    Raises
    ------
    OSError
        If one cannot be written.
    """
    return save_figures(dict(figures(outcome)), folder, NAMES)


def figures(outcome: Outcome) -> Iterator[tuple[str, FigureLayout]]:
    """Yield the figures by the stems of their files."""
    seen = survey(outcome)
    if seen is None:
        return
    for measure in measures(seen):
        if len(seen.numeric) > 1:
            yield measure.name, map_figure(seen, measure, [seen.shown])
            if measure.name in STAGED and len(seen.picked(STEPS)) > 1:
                yield f"{measure.name}_steps", map_figure(seen, measure, seen.picked(STEPS))
        else:
            draw = line_figure if seen.numeric else bar_figure
            yield measure.name, draw(seen, measure)
    yield "reach", reach_figure(seen)


def map_figure(survey: Survey, measure: Measure, levels: Sequence[float]) -> FigureLayout:
    """Return maps over the first two numbers that vary, at each of `levels`."""
    across, up = survey.numeric[:2]
    parts, notes = facets(survey, (across, up))
    drawn: list[tuple[list[str], pandas.DataFrame, bool, float]] = []
    for family, column in measure.columns.items():
        for part in parts:
            for model in survey.models:
                for level in levels:
                    points = part.points((across, up), model, column, level)
                    points["value"] *= measure.factor
                    words = [STYLES[model].label, *part.words, family]
                    words += [survey.where(level)] if len(levels) > 1 else []
                    drawn.append(([word for word in words if word], points, part.plain, level))
    values = np.concatenate([points.value for _, points, _, _ in drawn])
    scale = scale_of(measure.label, values, signed=measure.signed, limit=measure.limit)
    drawing = partial(draw_map, across=across, up=up, scale=scale)
    finish = partial(number_lines, bounds=scale.bounds)
    panels = [
        Panel(words, partial(drawing, points=points, plain=plain, level=survey.name(level)), finish)
        for words, points, plain, level in drawn
    ]
    if scale.extend != "neither":
        unit = measure.label.partition("[")[2].rstrip("]")
        low, high = (f"{value:.4g}".replace("-", MINUS) for value in scale.span)
        notes = [*notes, f"beyond the colours: the values go from {low} to {high} {unit}"]
    limits = range_of(survey.rows[across.column]), range_of(survey.rows[up.column])
    return FigureLayout(
        **_words(survey, _at(survey, measure, levels), notes),
        panels=panels,
        columns=_columns([len(levels), len(survey.models), len(parts), len(measure.columns)]),
        across=across.label,
        up=up.label,
        limits=limits,
        ratio=ratio_of(across, up, limits),
        widest=SMALL if len(levels) > 1 else FigureLayout.widest,
        scale=scale,
    )


def line_figure(survey: Survey, measure: Measure) -> FigureLayout:
    """Return curves against the one number that varies."""
    (across,) = survey.numeric
    levels = survey.picked(SHADES)
    parts, notes = facets(survey, (across,))
    rows = survey.rows[survey.rows[LEVEL].isin(levels)]
    up = range_of(measure.factor * rows[list(measure.columns.values())].to_numpy(float), 0.06)
    draw = partial(draw_lines, survey=survey, across=across, measure=measure, levels=levels)
    panels = [
        Panel(
            [word for word in (*part.words, family) if word],
            partial(draw, facet=part, column=column),
        )
        for family, column in measure.columns.items()
        for part in parts
    ]
    return FigureLayout(
        **_words(survey, _at(survey, measure, levels), notes),
        panels=panels,
        columns=_columns([len(parts), len(measure.columns)]),
        across=across.label,
        up=measure.label,
        limits=(range_of(survey.rows[across.column], 0.03), up),
        ratio=0.75,
        scale=scale_of_levels(survey.label, levels, levels),
    )


def bar_figure(survey: Survey, measure: Measure) -> FigureLayout:
    """Return bars to each setting, where nothing but text varies."""
    parts, notes = facets(survey, (), MANY_BARS)
    rows = survey.rows[survey.rows[LEVEL] == survey.shown]
    values = measure.factor * rows[list(measure.columns.values())].to_numpy(float)
    low, high = range_of(np.append(values.ravel(), 0.0), 0.0)
    room = 0.3 * (high - low)
    along = (low - room if low < 0 else 0.0, high + room if high > 0 else 0.0)
    draw = partial(draw_bars, survey=survey, parts=parts, factor=measure.factor)
    panels = [
        Panel([family] if family else [], partial(draw, column=column))
        for family, column in measure.columns.items()
    ]
    lines = max(len(names(part)) for part in parts)
    return FigureLayout(
        **_words(survey, _at(survey, measure, [survey.shown]), notes),
        panels=panels,
        columns=min(2, len(panels)),
        across=measure.label,
        limits=(along, (len(parts) - 0.5, -0.5)),
        tall=max(0.5, 0.24 * len(survey.models), 0.16 * lines + 0.1) * len(parts),
    )


def reach_figure(survey: Survey) -> FigureLayout:
    """Return the reachable set: where each setting brings the free end, at all levels."""
    parts, notes = facets(survey, survey.numeric[:2])
    columns = motions(survey.study.base)[:2]
    draw = partial(draw_reach, survey=survey, columns=columns)
    panels = [
        Panel([STYLES[model].label, *part.words], partial(draw, facet=part, model=model))
        for part in parts
        for model in survey.models
    ]
    across, up = (label_of(column) for column in columns)
    turn, shift = (label.partition(" [")[0] for label in (across, up))
    heading = f"Reach of the free end, from rest to {survey.name(survey.levels[-1])}"
    notes = [*notes, "lower levels are drawn on top of higher ones"]
    return FigureLayout(
        **_words(survey, f"{heading}: {shift} against {turn}", notes),
        panels=panels,
        columns=_columns([len(survey.models), len(parts)]),
        across=across,
        up=up,
        limits=(range_of(survey.rows[columns[0]], 0.04), range_of(survey.rows[columns[1]], 0.04)),
        scale=scale_of_levels(survey.label, survey.levels, survey.levels),
    )


def range_of(values: Array | pandas.Series[float], margin: float = 0.025) -> tuple[float, float]:
    """Return the range of all finite `values` with a margin, as a share of it, on either side."""
    known = np.asarray(values, dtype=float)
    known = known[np.isfinite(known)]
    low, high = (float(known.min()), float(known.max())) if len(known) else (0.0, 0.0)
    if high - low < ROUND_OFF:
        low, high = low - 1, high + 1
    return low - margin * (high - low), high + margin * (high - low)


def ratio_of(across: Axis, up: Axis, limits: Limits) -> float:
    """Return height over width of a panel: one scale for both axes if they have the same unit."""
    if across.unit != up.unit:
        return FigureLayout.ratio
    return float(np.clip(np.ptp(limits[1]) / np.ptp(limits[0]), 0.5, 1.5))


def _columns(counts: Sequence[int]) -> int:
    """Return how many panels are side by side: whole groups, first of `counts` the innermost."""
    total = math.prod(counts)
    if total < MOST_COLUMNS:
        return total
    groups = [math.prod(counts[:inner]) for inner in range(1, len(counts) + 1)]
    fit = [group for group in groups if 2 <= group <= MOST_COLUMNS]
    return min(fit, key=lambda group: abs(group - math.sqrt(1.2 * total)), default=3)


def _at(survey: Survey, measure: Measure, levels: Sequence[float]) -> str:
    """Return what is shown and at which level."""
    title = measure.title[0].upper() + measure.title[1:]
    if len(levels) == 1:
        return f"{title} {survey.where(levels[0])}"
    return f"{title} at {survey.name(levels[0])} to {survey.name(levels[-1])}"


def _words(survey: Survey, heading: str, notes: Sequence[str]) -> dict[str, Any]:
    """Return title, heading and notes, with what every figure says of the study."""
    words = " and ".join(STYLES[model].label for model in survey.models)
    mesh = f" ({survey.study.resolution} mesh)" if "fe" in survey.models else ""
    return {
        "title": survey.study.title,
        "heading": f"{heading}; {words}{mesh}",
        "notes": sentence([*notes, *_ends(survey)]),
    }


def sentence(said: Sequence[str]) -> list[str]:
    """Return one sentence of several parts, or nothing if there are none."""
    text = "; ".join(said)
    return [f"{text[0].upper()}{text[1:]}."] if text else []


def _ends(survey: Survey) -> Iterator[str]:
    """Yield how many curves ended before the level shown, and how many were not found at all."""
    asked = len(survey.study.settings)
    for model in survey.models:
        rows = survey.rows[survey.rows.model == model]
        found, there = rows.case.nunique(), (rows[LEVEL] == survey.shown).sum()
        label = STYLES[model].label
        if there < found:
            level = survey.name(survey.shown)
            yield f"{label}: {found - there} of {asked} curves ended before {level}"
        if found < asked:
            yield f"{label}: nothing found of {asked - found} of {asked} settings"
