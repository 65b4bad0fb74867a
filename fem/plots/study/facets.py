"""Settings that share a panel: one combination of what varies besides the axes of the panel."""

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

MAX_FACETS = 6
"""Most combinations in a picture."""

VALUES = 3
"""Number of values of a third number that are shown, or of parts of its range."""


@dataclass(frozen=True)
class Facet:
    """Settings that share a panel.

    Attributes
    ----------
    labels
        Values that they share; empty if the panel has all settings.
    rows
        Their rows, of all models and levels.
    plane
        The axes of the panel, two at most.
    joinable
        Whether nothing else varies in it, so that neighbours may be joined.
    """

    labels: tuple[str, ...]
    rows: pandas.DataFrame
    plane: Sequence[Axis]
    joinable: bool = True

    def field(
        self, model: str, column: str, level: float | None = None, factor: float = 1.0
    ) -> Field:
        """Return the values of a column, times `factor`, at the places of the settings.

        With a `level` there is one place for each setting, NaN where the curve ended before.
        Without a level there is one for each row.
        """
        rows = self.rows[self.rows.model == model]
        names = dict(zip([axis.column for axis in self.plane], "xy", strict=False))
        if level is not None:
            places = rows.drop_duplicates("case")[["case", *names]]
            at_level = rows[rows[LEVEL] == level].drop(columns=[*names])
            rows = places.merge(at_level, how="left", on="case")
        values = factor * rows.get(column, np.nan)
        return join(
            rows.rename(columns=names).assign(value=values), self.plane, joinable=self.joinable
        )

    def at(self, axis: Axis, value: object) -> Facet:
        """Return the settings that have a value of an axis."""
        return replace(self, rows=self.rows[self.rows[axis.column] == value])


def facets(
    data: PlotData, plane: Sequence[Axis], most: int = MAX_FACETS
) -> tuple[list[Facet], list[str]]:
    """Return the combinations of all axes that are not in `plane`, and notes on them.

    Text comes first, then up to three values of one more number; any further number is fixed at
    its middle value. If `plane` has scattered axes, the range of a scattered number is divided
    instead, and any further one varies from point to point.
    """
    others = [axis for axis in data.axes if axis not in plane]
    numbers = [axis for axis in others if axis.numeric]
    scattered = any(axis.scattered for axis in plane)
    parts, notes = [Facet((), data.rows, plane)], list[str]()
    for axis in [*(axis for axis in others if not axis.numeric), *numbers[:1]]:
        if axis.scattered and scattered:
            parts = [part for whole in parts for part in _ranges(whole, axis)]
            continue
        values = chosen = list(data.rows[axis.column].unique())
        if axis.numeric:  # a few, evenly spaced in their order, with the least and the greatest
            places = np.linspace(0, len(values) - 1, min(VALUES, len(values)))
            chosen = [sorted(values)[round(place)] for place in places]
        if len(chosen) < len(values):
            notes.append(f"{len(chosen)} of {len(values)} values of {axis.name} are shown")
        parts = [
            replace(whole.at(axis, value), labels=(*whole.labels, axis.text(value)))
            for whole in parts
            for value in chosen
        ]
    for axis in numbers[1:]:
        if axis.scattered and scattered:
            notes.append(f"{axis.name} varies from point to point")
            parts = [replace(part, joinable=False) for part in parts]
        else:
            values = sorted(data.rows[axis.column].unique())
            middle = float(values[(len(values) - 1) // 2])
            parts = [part.at(axis, middle) for part in parts]
            notes.append(f"shown for {axis.text(middle)}")
    parts = [part for part in parts if len(part.rows)]
    if len(parts) > most:
        notes.append(f"the first {most} of {len(parts)} combinations are shown")
    return parts[:most], notes


def _ranges(whole: Facet, axis: Axis) -> Iterator[Facet]:
    """Yield facets with equal numbers of settings, by ranges of a scattered number."""
    values = whole.rows[axis.column]
    edges = np.quantile(values.unique(), np.linspace(0, 1, VALUES + 1))
    number = np.searchsorted(edges[1:-1], values)
    for part, (low, high) in enumerate(itertools.pairwise(edges)):
        labels = (*whole.labels, axis.text(low, high))
        yield replace(whole, labels=labels, rows=whole.rows[number == part], joinable=False)
