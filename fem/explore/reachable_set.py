"""What can be reached by turning the rings: the fast model over a grid of angles at once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.case.case import Case
from fem.core.arrays import Array
from fem.core.errors import InputError
from fem.explore.setting import Setting, SlackForAll
from fem.explore.slider_ranges import Offer
from fem.fast.grouping import groups
from fem.quantities import table
from fem.quantities.column import Measure
from fem.solving.batch import solve_batch

AXES = (Measure(table.displacement), Measure(table.twist))
"""What is reached."""
RINGS = 2
"""The first two rings are turned; a third stays where it is set."""
LEVELS = 4
"""Pressures, in equal steps up to the greatest that is offered."""
FINE, COARSE = 21, 7
"""Angles to each ring; fewer where many cases must be solved one by one."""
MOST_SINGLE = 60
"""So many cases one by one, some 60 ms each, are waited for on the fine grid."""


@dataclass(frozen=True)
class Reach:
    """What can be reached.

    Attributes
    ----------
    angles
        Angles of the rings that are turned (deg), an array to each ring; at most two.
    pressures
        Pressures (kPa), shape (levels,).
    points
        Displacement (mm) and twist (deg), shape (levels, rows, columns, 2): a row to each angle of
        the first ring, a column to each of the second; nan where there is no such state.
    """

    angles: list[Array]
    pressures: Array
    points: Array


def reach(offer: Offer, slack: SlackForAll, angles: Sequence[float]) -> Reach:
    """Return what can be reached under a slack rule.

    Parameters
    ----------
    offer
        What the bench offers.
    slack
        The rule for all families.
    angles
        Where the rings stand (deg), one to each family; those of the first two do not count.

    Raises
    ------
    InputError
        If the rule cannot be used.
    """
    slack.changes(offer.base)
    for count in (FINE, COARSE):
        grid = [np.linspace(a.low, a.high, count) for a in offer.angles[:RINGS]]
        cases = dict(_cases(offer, slack, grid, angles[RINGS:]))
        if len(groups([*cases.values()])[1]) <= MOST_SINGLE:
            break
    shape = [*map(len, grid), *[1] * (RINGS - len(grid))]
    points = np.full((LEVELS, *shape, len(AXES)), np.nan)
    runs = solve_batch([*cases.values()])
    for place, run in zip(cases, runs, strict=True):
        level = (row for row in run.rows if row["demanded"] and row[table.pressure.column] > 0)
        for number, row in enumerate(level):
            points[number, *place] = [row[measure.column] for measure in AXES]
    pressures = np.linspace(0.0, offer.pressure.high, LEVELS + 1)[1:]
    return Reach(grid, pressures, points)


def _cases(
    offer: Offer, slack: SlackForAll, grid: Sequence[Array], others: Sequence[float]
) -> Iterator[tuple[tuple[Any, ...], Case]]:
    """Yield the place of each setting of the grid that makes a case, and the case."""
    for place in np.ndindex(*map(len, grid)):
        turned = [float(ring[k]) for ring, k in zip(grid, place, strict=True)]
        setting = Setting(angles=(*turned, *others), slack=slack, pressure=offer.pressure.high)
        try:
            case = setting.case(offer.base, LEVELS)
        except InputError:  # such as threads that are cut far too short at this angle
            continue
        yield place or (0,), case
