"""What stands on each picture of a study: maps, curves or bars of a measure, and the reach."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from fem.core.arrays import Array
from fem.core.units import MINUS
from fem.plots.curves import ROUND_OFF, STYLES
from fem.plots.panels import label_of
from fem.plots.study.bars import draw_bars
from fem.plots.study.facets import facets
from fem.plots.study.lines import draw_lines
from fem.plots.study.maps import draw_map
from fem.plots.study.measures import Measure, motions
from fem.plots.study.reach import draw_reach
from fem.plots.study.scale import scale_of, scale_of_levels
from fem.plots.study.sheet import WIDE, Block, Panel, Sheet
from fem.study.plot_data import LEVEL, Survey

if TYPE_CHECKING:
    import pandas

ABREAST = 4
"""Panels abreast at most."""

SHADES = 4
"""Levels that curves are drawn for."""

SMALL = 2.4
"""Width of the small pictures at most (in)."""

MANY_BARS = 24
"""Settings in text that a picture of bars has room for."""

NAMES = 1.95
"""Room for the names of bars (in)."""


def measure_sheet(survey: Survey, measure: Measure) -> Sheet:
    """Return the picture of a measure, by how many numbers vary."""
    if len(survey.numeric) > 1:
        return map_sheet(survey, measure, [survey.shown])
    return line_sheet(survey, measure) if survey.numeric else bar_sheet(survey, measure)


def map_sheet(survey: Survey, measure: Measure, levels: Sequence[float]) -> Sheet:
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
    counts = [len(levels), len(survey.models), len(parts), len(measure.columns)]
    panels = [
        Panel(
            words,
            partial(
                draw_map,
                points=points,
                across=across,
                up=up,
                scale=scale,
                plain=plain,
                level=survey.name(level),
            ),
        )
        for words, points, plain, level in drawn
    ]
    limits = _range(survey.rows[across.column], 0.025), _range(survey.rows[up.column], 0.025)
    wide = WIDE if len(levels) == 1 else SMALL
    ratio = 0.85
    if across.unit == up.unit:
        ratio = float(np.clip(np.ptp(limits[1]) / np.ptp(limits[0]), 0.5, 1.5))
    block = Block(
        panels, _abreast(counts), across.label, up.label, limits, ratio, scale, widest=wide
    )
    if scale.extend != "neither":
        unit = measure.label.partition("[")[2].rstrip("]")
        low, high = (f"{value:.4g}".replace("-", MINUS) for value in scale.span)
        notes = [*notes, f"beyond the colours: the values go from {low} to {high} {unit}"]
    return _sheet(survey, _at(survey, measure, levels), block, notes)


def line_sheet(survey: Survey, measure: Measure) -> Sheet:
    """Return curves against the one number that varies."""
    (across,) = survey.numeric
    levels = survey.picked(SHADES)
    parts, notes = facets(survey, (across,))
    rows = survey.rows[survey.rows[LEVEL].isin(levels)]
    up = _range(measure.factor * rows[list(measure.columns.values())].to_numpy(float), 0.06)
    panels = [
        Panel(
            [*part.words, family] if family else part.words,
            partial(
                draw_lines,
                survey=survey,
                facet=part,
                across=across,
                measure=measure,
                column=column,
                levels=levels,
            ),
        )
        for family, column in measure.columns.items()
        for part in parts
    ]
    limits = _range(survey.rows[across.column], 0.03), up
    columns = _abreast([len(parts), len(measure.columns)])
    scale = scale_of_levels(survey.label, levels, levels)
    block = Block(panels, columns, across.label, measure.label, limits, 0.75, scale)
    return _sheet(survey, _at(survey, measure, levels), block, notes)


def bar_sheet(survey: Survey, measure: Measure) -> Sheet:
    """Return bars to each setting, where nothing but text varies."""
    parts, notes = facets(survey, (), MANY_BARS)
    rows = survey.rows[survey.rows[LEVEL] == survey.shown]
    values = measure.factor * rows[list(measure.columns.values())].to_numpy(float)
    low, high = _range(np.append(values.ravel(), 0.0), 0.0)
    room = 0.3 * (high - low)
    along = (low - room if low < 0 else 0.0, high + room if high > 0 else 0.0)
    panels = [
        Panel(
            [family] if family else [],
            partial(draw_bars, survey=survey, parts=parts, column=column, factor=measure.factor),
        )
        for family, column in measure.columns.items()
    ]
    columns = _abreast([len(measure.columns)])
    limits = along, (len(parts) - 0.5, -0.5)
    block = Block(panels, columns, measure.label, "", limits, left=NAMES)
    tall = max(0.5, 0.24 * len(survey.models)) * len(parts)
    block = Block(panels, columns, measure.label, "", limits, tall / block.wide, left=NAMES)
    return _sheet(survey, _at(survey, measure, [survey.shown]), block, notes)


def reach_sheet(survey: Survey) -> Sheet:
    """Return the reachable set: where each setting brings the free end, at all levels."""
    parts, notes = facets(survey, survey.numeric[:2])
    columns = motions(survey.study.base)[:2]
    panels = [
        Panel(
            [STYLES[model].label, *part.words],
            partial(draw_reach, survey=survey, facet=part, model=model, columns=columns),
        )
        for part in parts
        for model in survey.models
    ]
    limits = _range(survey.rows[columns[0]], 0.04), _range(survey.rows[columns[1]], 0.04)
    scale = scale_of_levels(survey.label, survey.levels, survey.levels)
    across, up = (label_of(column) for column in columns)
    count = _abreast([len(survey.models), len(parts)])
    block = Block(panels, count, across, up, limits, 0.85, scale)
    turn, shift = (label.partition(" [")[0] for label in (across, up))
    heading = f"Reach of the free end, from rest to {survey.name(survey.levels[-1])}"
    notes = [*notes, "what is reached earlier lies on top of what is reached later"]
    return _sheet(survey, f"{heading}: {shift} against {turn}", block, notes)


def _range(values: Array | pandas.Series[float], margin: float) -> tuple[float, float]:
    """Return the range of all finite `values` with a margin, as a share of it, on either side."""
    known = np.asarray(values, dtype=float)
    known = known[np.isfinite(known)]
    low, high = (float(known.min()), float(known.max())) if len(known) else (0.0, 0.0)
    if high - low < ROUND_OFF:
        low, high = low - 1, high + 1
    return low - margin * (high - low), high + margin * (high - low)


def _abreast(counts: Sequence[int]) -> int:
    """Return how many panels stand abreast: whole groups, the first of `counts` the innermost."""
    total = math.prod(counts)
    if total < ABREAST:
        return total
    groups = [math.prod(counts[:inner]) for inner in range(1, len(counts) + 1)]
    fit = [group for group in groups if 2 <= group <= ABREAST]
    return min(fit, key=lambda group: abs(group - math.sqrt(1.2 * total)), default=3)


def _at(survey: Survey, measure: Measure, levels: Sequence[float]) -> str:
    """Return what is shown and at which level."""
    title = measure.title[0].upper() + measure.title[1:]
    if len(levels) == 1:
        return f"{title} {survey.where(levels[0])}"
    return f"{title} at {survey.name(levels[0])} to {survey.name(levels[-1])}"


def _sheet(survey: Survey, heading: str, block: Block, notes: Sequence[str]) -> Sheet:
    """Return the page of a block, with what is to be said of the study on every page."""
    words = " and ".join(STYLES[model].label for model in survey.models)
    mesh = f" ({survey.study.resolution} mesh)" if "fe" in survey.models else ""
    said = [*notes, *_ends(survey)]
    text = "; ".join(said)
    below = [f"{text[0].upper()}{text[1:]}."] if text else []
    return Sheet(survey.study.title, f"{heading}; {words}{mesh}", [block], below)


def _ends(survey: Survey) -> list[str]:
    """Return how many curves ended before the level shown, and how many were not found at all."""
    said, asked = [], len(survey.study.settings)
    for model in survey.models:
        rows = survey.rows[survey.rows.model == model]
        found, there = rows.case.nunique(), (rows[LEVEL] == survey.shown).sum()
        label = STYLES[model].label
        if there < found:
            level = survey.name(survey.shown)
            said.append(f"{label}: {found - there} of {asked} curves ended before {level}")
        if found < asked:
            said.append(f"{label}: nothing found of {asked - found} of {asked} settings")
    return said
