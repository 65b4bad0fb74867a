"""Pictures of a study: their quantities, columns and labels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.case.case import Case
from fem.plots.panels import PRESSURE, path_sections
from fem.quantities import table
from fem.quantities.column import Measure, by_name, measures_of, named, with_unit
from fem.quantities.quantity import Quantity
from fem.study.plot_data import PlotData

MARGINS = "margins"
"""The picture of utilisations; if no limit is known, it shows the stretch of the wall."""


@dataclass(frozen=True)
class StudyPicture:
    """Contents of a picture: a quantity, or the utilisation of everything that has a limit.

    Attributes
    ----------
    name
        Stem of its file.
    quantity
        The quantity, or the first of several with the same factor, unit and traits.
    columns
        Its columns in the table by label: the family, or empty for a single column.
    """

    name: str
    quantity: Quantity
    columns: dict[str, str]

    @property
    def limit(self) -> float:
        """Limit in the unit of the label; NaN if there is none."""
        return self.quantity.factor if self.quantity.picture == MARGINS else np.nan

    @property
    def title(self) -> str:
        """Name in a sentence."""
        return MARGINS if self.quantity.picture == MARGINS else self.quantity.label

    @property
    def axis_name(self) -> str:
        """Name at an axis, without unit."""
        return "utilisation" if self.quantity.picture == MARGINS else self.quantity.label

    @property
    def label(self) -> str:
        """Label of an axis, with unit."""
        return with_unit(self.axis_name, self.quantity.kind.shown)


def study_pictures(data: PlotData) -> list[StudyPicture]:
    """Return the pictures that the table allows: motion and end loads first, then the others."""
    base = data.study.base
    shown = map(named, [*motions(base), *([] if base.pressure else [PRESSURE])])
    pictures = {one.name: [one] for one in shown}
    for one in measures_of(family.name for family in base.threads):
        if one.quantity.picture and one.column in data.rows:
            pictures.setdefault(one.quantity.picture, []).append(one)
    if MARGINS not in pictures:
        pictures[MARGINS] = pictures.pop(table.wall_stretch_max.picture)
    return [
        StudyPicture(name, columns[0].quantity, {_label(one): one.column for one in columns})
        for name, columns in pictures.items()
    ]


def picture_of(data: PlotData, name: str) -> StudyPicture:
    """Return the picture of a quantity by its name, or the margins.

    Raises
    ------
    InputError
        If the study has no such quantity.
    """
    if name == MARGINS:
        return next(one for one in study_pictures(data) if one.name == MARGINS)
    columns = by_name([name], map(str, data.rows))
    return StudyPicture(name, columns[0].quantity, {_label(one): one.column for one in columns})


def _label(one: Measure) -> str:
    """Return the label of a column among the others of its picture."""
    if one.quantity.picture == MARGINS:
        return one.title
    return f"threads {one.family}" if one.family else ""


def motions(case: Case) -> list[str]:
    """Return the columns of twist, displacement and bulge; of the load where the end is fixed."""
    return path_sections(case, [])[0].ys
