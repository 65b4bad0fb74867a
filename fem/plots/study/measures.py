"""Which pictures a study has: the measures, their columns, and what is said of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.case.case import Case
from fem.plots.panels import PRESSURE, strips
from fem.quantities import table
from fem.quantities.column import Measure as Column
from fem.quantities.column import measures_of, named, with_unit
from fem.quantities.quantity import Trait
from fem.study.plot_data import Survey


@dataclass(frozen=True)
class Measure:
    """What a picture shows.

    Attributes
    ----------
    name
        Stem of its file.
    title
        How it is called in a sentence.
    label
        Title and unit, as beside an axis.
    columns
        Its columns in the table by what tells them apart: the families, or nothing.
    signed
        Whether its sign tells a direction.
    factor
        What the numbers of the table are multiplied by.
    limit
        Where something gives (in the unit of the label), if anywhere.
    """

    name: str
    title: str
    label: str
    columns: dict[str, str]
    signed: bool
    factor: float = 1.0
    limit: float = np.nan


MARGINS = "margins"
"""The picture of what comes near to its limit; where none is known it has the wall's stretch."""


def measures(survey: Survey) -> list[Measure]:
    """Return the measures that the table has: motion and end loads, then a picture to a name."""
    base = survey.study.base
    shown = [*motions(base), *([] if base.pressure else [PRESSURE])]
    families = [family.name for family in base.threads]
    pictures: dict[str, list[Column]] = {}
    for column in measures_of(families):
        if column.quantity.picture and column.column in survey.rows:
            pictures.setdefault(column.quantity.picture, []).append(column)
    if MARGINS not in pictures:
        pictures[MARGINS] = pictures.pop(table.wall_stretch_max.picture)
    alone = [_measure(column.name, [column]) for column in map(named, shown)]
    return [*alone, *(_measure(name, columns) for name, columns in pictures.items())]


def motions(case: Case) -> list[str]:
    """Return the columns of turn, shift and bulge; of the load where the free end is held."""
    return [panel.up for panel in strips(case, [])[0].panels]


def picture_names() -> list[str]:
    """Return the names of all pictures that a study may have of its measures."""
    named_so = {quantity.picture or quantity.name for quantity in table.QUANTITIES}
    return sorted(named_so)


def _measure(name: str, columns: list[Column]) -> Measure:
    """Return the picture of a quantity, or of the shares of all that has a limit."""
    first = columns[0].quantity
    if first.picture == MARGINS:
        label = with_unit("utilisation", first.kind.shown)
        parts = {column.title: column.column for column in columns}
        return Measure(name, name, label, parts, False, first.factor, first.factor)
    parts = {f"threads {one.family}" if one.family else "": one.column for one in columns}
    label = with_unit(first.label, first.kind.shown)
    return Measure(name, first.label, label, parts, Trait.SIGNED in first.traits, first.factor)
