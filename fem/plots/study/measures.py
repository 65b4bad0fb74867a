"""Which pictures a study has: the measures, their columns, and what is said of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.case.case import Case
from fem.plots.panels import LABELS, strips
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


SIGNED = ("twist_deg", "displacement_mm", "end_force_N", "end_torque_Nmm")


def measures(survey: Survey) -> list[Measure]:
    """Return the measures that the table has, in the order of the pictures."""
    found = [_of_column(name) for name in motions(survey.study.base)]
    if not survey.study.base.pressure:
        found.append(_of_column("pressure_kPa"))
    label = "mean thread tension [N]"
    found.append(_of_families(survey, "tension", label, "tension_N", signed=False))
    label = "torque on the ring [N mm]"
    found.append(_of_families(survey, "ring_torque", label, "ring_torque_Nmm", signed=True))
    used = _of_families(survey, "thread_used", "", "thread_used", signed=False).columns
    used = {f"breaking load of {family}": column for family, column in used.items()}
    if "rubber_used" in survey.rows:
        used = {"strain where the rubber locks": "rubber_used"} | used
    label = "share that is used up [%]"
    found.append(Measure("margins", "margins", label, used, False, 100.0, 100.0))
    stretch = {"": "wall_stretch_max"}
    name = "wall_stretch" if used else "margins"
    found.append(Measure(name, "greatest stretch in the wall", "wall stretch", stretch, False))
    return [measure for measure in found if measure.columns]


def motions(case: Case) -> list[str]:
    """Return the columns of turn, shift and bulge; of the load where the free end is held."""
    return [panel.up for panel in strips(case, [])[0].panels]


def label_of(column: str) -> str:
    """Return what an axis says of a column."""
    return LABELS[column]


def _of_column(column: str) -> Measure:
    title = LABELS[column].partition(" [")[0]
    name = title.replace(" ", "_")
    return Measure(name, title, LABELS[column], {"": column}, column in SIGNED)


def _of_families(survey: Survey, name: str, label: str, stem: str, *, signed: bool) -> Measure:
    """Return a measure that each family has of its own."""
    title = label.partition(" [")[0]
    families = [family.name for family in survey.study.base.threads]
    named = {f"threads {family}": f"{stem}.{family}" for family in families}
    columns = {words: column for words, column in named.items() if column in survey.rows}
    return Measure(name, title, label, columns, signed)
