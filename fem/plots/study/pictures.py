"""Which pictures a study has: their quantities and columns, and what is said of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.case.case import Case
from fem.plots.panels import PRESSURE, strips
from fem.quantities import table
from fem.quantities.column import Measure, measures_of, named, with_unit
from fem.quantities.quantity import Quantity
from fem.study.plot_data import PlotData

MARGINS = "margins"
"""The picture of what comes near to its limit; where none is known it has the wall's stretch."""


@dataclass(frozen=True)
class StudyPicture:
    """What a picture shows: a quantity, or the utilisation of everything that has a limit.

    Attributes
    ----------
    name
        Stem of its file.
    quantity
        The quantity, or the first of them: they share factor, unit and traits.
    columns
        Its columns in the table by what tells them apart: the families, or nothing.
    """

    name: str
    quantity: Quantity
    columns: dict[str, str]

    @property
    def limit(self) -> float:
        """Where something gives, in the unit of the label; NaN for nowhere."""
        return self.quantity.factor if self.quantity.picture == MARGINS else np.nan

    @property
    def title(self) -> str:
        """How it is called in a sentence."""
        return MARGINS if self.quantity.picture == MARGINS else self.quantity.label

    @property
    def words(self) -> str:
        """How it is called beside an axis."""
        return "utilisation" if self.quantity.picture == MARGINS else self.quantity.label

    @property
    def label(self) -> str:
        """Words and unit, as beside an axis."""
        return with_unit(self.words, self.quantity.kind.shown)


def study_pictures(data: PlotData) -> list[StudyPicture]:
    """Return the pictures that the table has: motion and end loads, then those with a name."""
    base = data.study.base
    shown = map(named, [*motions(base), *([] if base.pressure else [PRESSURE])])
    pictures = {one.name: [one] for one in shown}
    for one in measures_of(family.name for family in base.threads):
        if one.quantity.picture and one.column in data.rows:
            pictures.setdefault(one.quantity.picture, []).append(one)
    if MARGINS not in pictures:
        pictures[MARGINS] = pictures.pop(table.wall_stretch_max.picture)
    return [
        StudyPicture(name, columns[0].quantity, {_words(one): one.column for one in columns})
        for name, columns in pictures.items()
    ]


def _words(one: Measure) -> str:
    """Return what tells a column from the others of its picture."""
    if one.quantity.picture == MARGINS:
        return one.title
    return f"threads {one.family}" if one.family else ""


def motions(case: Case) -> list[str]:
    """Return the columns of turn, shift and bulge; of the load where the free end is held."""
    return strips(case, [])[0].ups
