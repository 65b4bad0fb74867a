"""Reachable set of displacement and twist: the fast model on a grid of helix angles."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.case.case import Case
from fem.core.arrays import Array
from fem.core.errors import InputError
from fem.explore.setting import Setting, SlackForAll
from fem.explore.slider_ranges import SliderRanges
from fem.fast.grouping import batch_groups
from fem.quantities import table
from fem.quantities.column import Measure
from fem.solving.batch import solve_batch

AXES = (Measure(table.displacement), Measure(table.twist))
"""Coordinates of the points of the set."""
RINGS = 2
"""The angles of the first two families vary; others keep their value."""
LEVELS = 4
"""Number of pressures, equally spaced up to the greatest of the slider."""
FINE, COARSE = 21, 7
"""Number of angles per family; the coarse grid if many cases must be solved one by one."""
MAX_SINGLE = 60
"""Number of cases solved one by one, about 60 ms each, that the fine grid may have."""


@dataclass(frozen=True)
class ReachableSet:
    """States that the tube reaches on a grid of helix angles.

    Attributes
    ----------
    angles
        Helix angles (deg) of the families that vary, an array for each; at most two.
    pressures
        Pressures (kPa), shape (levels,).
    points
        Displacement (mm) and twist (deg), shape (levels, rows, columns, 2): a row for each angle
        of the first family, a column for each of the second; NaN where there is no such state.
    """

    angles: list[Array]
    pressures: Array
    points: Array


def reachable_set(
    ranges: SliderRanges, slack: SlackForAll, angles: Sequence[float]
) -> ReachableSet:
    """Return the reachable set for a slack rule.

    Parameters
    ----------
    ranges
        Ranges of the sliders.
    slack
        The slack of all families.
    angles
        Helix angle of each family (deg); the first two are ignored.

    Raises
    ------
    InputError
        If the slack is not valid.
    """
    slack.changes(ranges.base)
    for count in (FINE, COARSE):
        grid = [np.linspace(a.low, a.high, count) for a in ranges.angles[:RINGS]]
        cases = dict(_cases(ranges, slack, grid, angles[RINGS:]))
        if len(batch_groups([*cases.values()])[1]) <= MAX_SINGLE:
            break
    shape = [*map(len, grid), *[1] * (RINGS - len(grid))]
    points = np.full((LEVELS, *shape, len(AXES)), np.nan)
    runs = solve_batch([*cases.values()])
    for index, run in zip(cases, runs, strict=True):
        requested = (row for row in run.rows if row["requested"] and row[table.pressure.column] > 0)
        for level, row in enumerate(requested):
            points[level, *index] = [row[measure.column] for measure in AXES]
    pressures = np.linspace(0.0, ranges.pressure.high, LEVELS + 1)[1:]
    return ReachableSet(grid, pressures, points)


def _cases(
    ranges: SliderRanges, slack: SlackForAll, grid: Sequence[Array], others: Sequence[float]
) -> Iterator[tuple[tuple[Any, ...], Case]]:
    """Yield the grid index and the case of each setting that gives a valid case."""
    for index in np.ndindex(*map(len, grid)):
        varied = [float(values[k]) for values, k in zip(grid, index, strict=True)]
        setting = Setting(angles=(*varied, *others), slack=slack, pressure=ranges.pressure.high)
        try:
            case = setting.case(ranges.base, LEVELS)
        except InputError:  # for example, threads cut too short for this angle
            continue
        yield index or (0,), case
