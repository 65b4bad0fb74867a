"""Which settings share a panel: a combination of whatever varies beside the axes of the panel."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fem.plots.study.field import Field, join
from fem.study.plot_data import LEVEL, Axis, PlotData

if TYPE_CHECKING:
    import pandas

MOST = 6
"""Combinations that a picture has room for."""

VALUES = 3
"""Values of a third number that are shown, or parts into which its range is divided."""


@dataclass(frozen=True)
class Facet:
    """Settings that share a panel.

    Attributes
    ----------
    words
        What they have in common; empty if that is all of them.
    rows
        Their rows, of all models and levels.
    plane
        The axes of the panel, two at most.
    plain
        Whether nothing varies in it beside them, so that neighbours may be joined.
    """

    words: tuple[str, ...]
    rows: pandas.DataFrame
    plane: Sequence[Axis]
    plain: bool = True

    def field(
        self, model: str, column: str, level: float | None = None, factor: float = 1.0
    ) -> Field:
        """Return the values of a column, times `factor`, at the places of the settings.

        At a `level` each setting has its place, with NaN where the curve ended before. Without one,
        each row has.
        """
        rows = self.rows[self.rows.model == model]
        names = dict(zip([axis.column for axis in self.plane], "xy", strict=False))
        if level is not None:
            places = rows.drop_duplicates("case")[["case", *names]]
            there = rows[rows[LEVEL] == level].drop(columns=[*names])
            rows = places.merge(there, how="left", on="case")
        values = factor * rows.get(column, np.nan)
        return join(rows.rename(columns=names).assign(value=values), self.plane, plain=self.plain)

    def at(self, axis: Axis, value: object) -> Facet:
        """Return the settings that have a value of an axis."""
        return replace(self, rows=self.rows[self.rows[axis.column] == value])


def facets(
    data: PlotData, plane: Sequence[Axis], most: int = MOST
) -> tuple[list[Facet], list[str]]:
    """Return the combinations of all axes that are not in `plane`, and what is to be said of them.

    Text comes first, then up to three values of one more number; any further number is fixed at
    the middle one of its values. If `plane` has scattered axes, the range of a scattered number is
    divided instead, and any further one varies from point to point.
    """
    others = [axis for axis in data.axes if axis not in plane]
    numbers = [axis for axis in others if axis.numeric]
    loose = any(axis.scattered for axis in plane)
    parts, notes = [Facet((), data.rows, plane)], list[str]()
    for axis in [*(axis for axis in others if not axis.numeric), *numbers[:1]]:
        if axis.scattered and loose:
            parts = [part for whole in parts for part in _ranges(whole, axis)]
            continue
        values = picked = list(data.rows[axis.column].unique())
        if axis.numeric:  # a few, evenly by their order, least and greatest among them
            places = np.linspace(0, len(values) - 1, min(VALUES, len(values)))
            picked = [sorted(values)[round(place)] for place in places]
        if len(picked) < len(values):
            notes.append(f"{len(picked)} of {len(values)} values of {axis.words} are shown")
        parts = [
            replace(whole.at(axis, value), words=(*whole.words, axis.say(value)))
            for whole in parts
            for value in picked
        ]
    for axis in numbers[1:]:
        if axis.scattered and loose:
            notes.append(f"{axis.words} varies from point to point")
            parts = [replace(part, plain=False) for part in parts]
        else:
            values = sorted(data.rows[axis.column].unique())
            middle = float(values[(len(values) - 1) // 2])
            parts = [part.at(axis, middle) for part in parts]
            notes.append(f"shown for {axis.say(middle)}")
    parts = [part for part in parts if len(part.rows)]
    if len(parts) > most:
        notes.append(f"the first {most} of {len(parts)} combinations are shown")
    return parts[:most], notes


def _ranges(whole: Facet, axis: Axis) -> Iterator[Facet]:
    """Yield facets of equally many settings each, by the size of a scattered number."""
    values = whole.rows[axis.column]
    edges = np.quantile(values.unique(), np.linspace(0, 1, VALUES + 1))
    number = np.searchsorted(edges[1:-1], values)
    for part, (low, high) in enumerate(itertools.pairwise(edges)):
        words = (*whole.words, axis.say(low, high))
        yield replace(whole, words=words, rows=whole.rows[number == part], plain=False)
