"""A study as its pictures see it: what varied, and the rows by how far each path had come."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fem.core.units import MINUS, split
from fem.quantities import table
from fem.quantities.case_fields import THREADS, column
from fem.quantities.column import Measure, named, with_unit
from fem.study.plan import Study
from fem.study.study_result import StudyResult
from fem.study.vary import Vary

if TYPE_CHECKING:
    import pandas

CURVE = ["case", "model"]
LEVEL = "level"
"""Column that is added to the table: how far along its path a row is."""

PRESSURE, VOLUME, AIR = (Measure(table.pressure), Measure(table.added), Measure(table.air))
MORE = {PRESSURE: "", VOLUME: " pushed in", AIR: " of air let in"}
"""What levels are, and what stands behind the unit of one."""

STEP = "number of the step"
"""What levels are else."""

SAME = 6
"""Decimals to which levels are told apart."""


@dataclass(frozen=True)
class Axis:
    """What varies independently, be it one field or several together.

    Attributes
    ----------
    column
        Its column in the table; of fields that vary together that of the first.
    words, unit
        What it is called.
    numeric
        Whether its values are numbers, or else text.
    scattered
        Whether a quasi-random design picked them.
    helix
        Whether it is the helix angle of a family.
    """

    column: str
    words: str
    unit: str = ""
    numeric: bool = True
    scattered: bool = False
    helix: bool = False

    @property
    def label(self) -> str:
        """Words and unit, as beside an axis."""
        return with_unit(self.words, self.unit)

    def say(self, *values: Any) -> str:
        """Return the axis with a value, or with both ends of a range."""
        texts = [f"{value:.4g}" if self.numeric else str(value) for value in values]
        return f"{self.words}: {' to '.join(texts)} {self.unit}".strip().replace(" -", f" {MINUS}")


@dataclass(frozen=True)
class PlotData:
    """A study made ready to be drawn.

    Attributes
    ----------
    study
        What was asked.
    models
        The models that found anything, in the order of the study.
    rows
        The rows of its table at steps asked for, with a column ``level``.
    axes
        What varies, in the order of the study; what takes but one value is left out.
    drive
        What the levels are, mostly the pressure; None for the number of the step.
    levels
        All levels, rest first.
    shown
        The highest level that most curves reach.
    """

    study: Study
    models: list[str]
    rows: pandas.DataFrame
    axes: list[Axis]
    drive: Measure | None
    levels: list[float]
    shown: float

    @property
    def label(self) -> str:
        """What the levels are, with unit."""
        return self.drive.words if self.drive else STEP

    @property
    def numeric(self) -> list[Axis]:
        """The axes whose values are numbers."""
        return [axis for axis in self.axes if axis.numeric]

    def name(self, level: float) -> str:
        """Return a level by its value: 15 kPa, 3 mL pushed in, 2 mg of air let in, step 7 of 10."""
        number = f"{level:.4g}".replace("-", MINUS)
        if self.drive:
            return f"{number} {self.drive.unit}{MORE[self.drive]}"
        return f"step {number} of {len(self.levels) - 1}"

    def where(self, level: float) -> str:
        """Return in words where a level is, with the pressures that the cases have there.

        A study may drive the tube by a volume or by air; then each case has its own.
        """
        if self.drive == PRESSURE:
            return f"at {self.name(level)}"
        pressure = self.rows.loc[self.rows[LEVEL] == level, table.pressure.column]
        ends = dict.fromkeys(f"{end:.4g}" for end in (pressure.min(), pressure.max()))
        unit = table.pressure.unit
        return f"at {self.name(level)}, {' to '.join(ends).replace('-', MINUS)} {unit}"

    def picked(self, count: int) -> list[float]:
        """Return at most so many levels, evenly from the first above rest to the one shown."""
        above = self.levels[1 : self.levels.index(self.shown) + 1] or self.levels[:1]
        numbers = {round((i + 1) * len(above) / count) - 1 for i in range(count)}
        return [above[number] for number in sorted(numbers) if number >= 0]


def plot_data(study_result: StudyResult) -> PlotData | None:
    """Return the study made ready, or None if no step that was asked for was found at all."""
    table, study = study_result.table, study_result.study
    if table.empty or not table.requested.any():
        return None
    rows = table[table.requested.astype(bool)].reset_index(drop=True)
    axes = []
    for vary in study.vary:
        axis, values = _axis(study, vary, rows)
        if values.nunique() > 1:
            rows[axis.column] = values
            axes.append(axis)
    drive, places = _levels(study, rows)
    rows[LEVEL] = places
    reach = rows.groupby(LEVEL).size()
    levels = sorted(reach.index, key=abs)
    most = [level for level in levels if 2 * reach[level] > reach.max()]
    models: list[str] = [model for model in study.models if model in set(rows.model)]
    return PlotData(study, models, rows, axes, drive, levels, most[-1])


def _axis(study: Study, vary: Vary, rows: pandas.DataFrame) -> tuple[Axis, pandas.Series[Any]]:
    """Return what a table of the study varies, and its values row by row."""
    from pandas.api.types import is_numeric_dtype

    name = column(study.sample, vary.field)  # the base may have no such key
    values, parts, unit = rows[name], vary.field.split("."), named(name).unit
    numeric = bool(is_numeric_dtype(values))
    if not numeric and all(split(value, "%") for value in values.unique()):
        values, unit, numeric = values.str.removesuffix(" %").astype(float), "%", True
    helix = parts[0] == THREADS and parts[2:] == ["angle"]
    return Axis(name, _words(vary), unit, numeric, vary.scattered, helix), values


def _words(vary: Vary) -> str:
    """Return what the fields that vary together are called: slack of A, B."""
    first, *others = (_name(field) for field in (vary.field, *vary.same))
    key = f"{first.partition(' of ')[0]} of "  # of families it is not said again
    mates = [name.removeprefix(key) for name in others if name.startswith(key)]
    words = ", ".join([first, *mates, *(name for name in others if not name.startswith(key))])
    opposite = ", ".join(_name(field).removeprefix(key) for field in vary.opposite)
    return f"{words} ({opposite} opposite)" if opposite else words


def _name(field: str) -> str:
    """Return a field in words: helix angle of A, tube bore radius."""
    parts = field.split(".")
    if parts[0] == THREADS:
        key = " ".join(parts[2:]).replace("_", " ")
        return f"{'helix angle' if key == 'angle' else key} of {parts[1]}"
    return " ".join(parts).replace("_", " ")


def _levels(study: Study, rows: pandas.DataFrame) -> tuple[Measure | None, pandas.Series[Any]]:
    """Return what the levels are and that of each row: what drives the tube, else the step.

    The number of the step stands in where a move of the free end follows the drive, and where the
    cases are not driven to values that most of them share.
    """
    number = rows.groupby(CURVE).cumcount()
    steps = None, number.astype(float)
    if study.base.move:
        return steps
    if study.base.pressure:
        drive, places = PRESSURE, rows[PRESSURE.column]
    elif study.base.volume:
        volume = table.volume.column
        rest = rows.groupby(CURVE)[volume].transform("first")
        drive, places = VOLUME, table.added.value(rows[volume] - rest)
    else:
        drive, places = AIR, rows[AIR.column]
    places = places.round(SAME) + 0.0
    shared = places[number > 0].value_counts().max()
    curves = rows.groupby(CURVE).ngroups
    return (drive, places) if shared > curves / 2 else steps
