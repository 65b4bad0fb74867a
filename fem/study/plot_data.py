"""Data for the pictures of a study: the axes that vary, and the rows by level of the drive."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fem.core.errors import InputError
from fem.core.units import MINUS, UNITS, split
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
"""Added column of the table: value of the drive at a row, or number of the step."""

PRESSURE, VOLUME, AIR = (Measure(table.pressure), Measure(table.added), Measure(table.air))
SUFFIXES = {PRESSURE: "", VOLUME: " added", AIR: " of air added"}
"""Drives, and the text after the unit of a level."""

STEP = "number of the step"
"""Label of the levels if they are step numbers."""

DECIMALS = 6
"""Decimals to which levels are rounded."""


@dataclass(frozen=True)
class Axis:
    """One independent variable of a study: a field, or several that vary together.

    Attributes
    ----------
    column
        Its column in the table; that of the first field if several vary together.
    name, unit
        Name and unit for labels.
    numeric
        Whether its values are numbers; otherwise they are text.
    scattered
        Whether a quasi-random design chose the values.
    helix
        Whether it is the helix angle of a family.
    """

    column: str
    name: str
    unit: str = ""
    numeric: bool = True
    scattered: bool = False
    helix: bool = False

    @property
    def label(self) -> str:
        """Name and unit, for the axis of a picture."""
        return with_unit(self.name, self.unit)

    def text(self, *values: Any) -> str:
        """Return the name with a value, or with both ends of a range."""
        texts = [f"{value:.4g}" if self.numeric else str(value) for value in values]
        return f"{self.name}: {' to '.join(texts)} {self.unit}".strip().replace(" -", f" {MINUS}")


@dataclass(frozen=True)
class PlotData:
    """Data of a study for its pictures.

    Attributes
    ----------
    study
        The study.
    models
        The models with at least one row, in the order of the study.
    rows
        The rows of the table at requested steps, with a column ``level``.
    axes
        The independent variables with more than one value, in the order of the study.
    drive
        Quantity of the levels, usually the pressure; None if they are step numbers.
    levels
        All levels, rest first.
    main_level
        The highest level that most curves reach.
    """

    study: Study
    models: list[str]
    rows: pandas.DataFrame
    axes: list[Axis]
    drive: Measure | None
    levels: list[float]
    main_level: float

    @property
    def label(self) -> str:
        """Name and unit of the levels."""
        return self.drive.axis_label if self.drive else STEP

    @property
    def numeric(self) -> list[Axis]:
        """The axes whose values are numbers."""
        return [axis for axis in self.axes if axis.numeric]

    def name(self, level: float) -> str:
        """Return a level as text: 15 kPa, 3 mL added, 2 mg of air added, step 7 of 10."""
        number = f"{level:.4g}".replace("-", MINUS)
        if self.drive:
            return f"{number} {self.drive.unit}{SUFFIXES[self.drive]}"
        return f"step {number} of {len(self.levels) - 1}"

    def level(self, at: str | int) -> float:
        """Return the level of a quantity with its unit, such as 10 kPa, or of a number of steps.

        Raises
        ------
        InputError
            If the study has no such level.
        """
        try:
            level = self._value(at)
        except ValueError:
            level = None
        for known in self.levels:
            if level is not None and abs(known - level) <= 10.0**-DECIMALS * max(1.0, abs(level)):
                return known
        allowed = ", ".join(f"{known:.6g}" for known in self.levels)
        unit = f" {self.drive.unit}" if self.drive else ""
        raise InputError(f'level "{at}": not in the study; allowed: {allowed}{unit}')

    def _value(self, at: str | int) -> float:
        if not self.drive:
            return float(at)
        number, unit = split(str(at), UNITS) or (None, "")
        if number is None:
            raise ValueError
        return number * self.drive.factor_from(unit)

    def where(self, level: float) -> str:
        """Return a level as text, with the range of pressure of the cases at this level.

        If the drive is not the pressure, each case has another pressure.
        """
        if self.drive == PRESSURE:
            return f"at {self.name(level)}"
        pressure = self.rows.loc[self.rows[LEVEL] == level, table.pressure.column]
        ends = dict.fromkeys(f"{end:.4g}" for end in (pressure.min(), pressure.max()))
        unit = table.pressure.unit
        return f"at {self.name(level)}, {' to '.join(ends).replace('-', MINUS)} {unit}"

    def pick_levels(self, count: int) -> list[float]:
        """Return at most `count` levels, evenly from the first after rest to the main level."""
        above = self.levels[1 : self.levels.index(self.main_level) + 1] or self.levels[:1]
        numbers = {round((i + 1) * len(above) / count) - 1 for i in range(count)}
        return [above[number] for number in sorted(numbers) if number >= 0]


def plot_data(study_result: StudyResult) -> PlotData | None:
    """Return the data for pictures; None if no requested step was reached."""
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
    drive, row_levels = _levels(study, rows)
    rows[LEVEL] = row_levels
    counts = rows.groupby(LEVEL).size()
    levels = sorted(counts.index, key=abs)
    common = [level for level in levels if 2 * counts[level] > counts.max()]
    models: list[str] = [model for model in study.models if model in set(rows.model)]
    return PlotData(study, models, rows, axes, drive, levels, common[-1])


def _axis(study: Study, vary: Vary, rows: pandas.DataFrame) -> tuple[Axis, pandas.Series[Any]]:
    """Return the axis of a table [[vary]], and its value in each row."""
    from pandas.api.types import is_numeric_dtype

    name = column(study.sample, vary.field)  # the base case may lack the key
    values, parts, unit = rows[name], vary.field.split("."), named(name).unit
    numeric = bool(is_numeric_dtype(values))
    if not numeric and all(split(value, "%") for value in values.unique()):
        values, unit, numeric = values.str.removesuffix(" %").astype(float), "%", True
    helix = parts[0] == THREADS and parts[2:] == ["angle"]
    return Axis(name, _axis_name(vary), unit, numeric, vary.scattered, helix), values


def _axis_name(vary: Vary) -> str:
    """Return the name of the fields that vary together: slack of A, B."""
    first, *others = (_name(field) for field in (vary.field, *vary.same))
    key = f"{first.partition(' of ')[0]} of "  # not repeated for other families
    families = [name.removeprefix(key) for name in others if name.startswith(key)]
    text = ", ".join([first, *families, *(name for name in others if not name.startswith(key))])
    opposite = ", ".join(_name(field).removeprefix(key) for field in vary.opposite)
    return f"{text} ({opposite} opposite)" if opposite else text


def _name(field: str) -> str:
    """Return the name of a field: helix angle of A, tube bore radius."""
    parts = field.split(".")
    if parts[0] == THREADS:
        key = " ".join(parts[2:]).replace("_", " ")
        return f"{'helix angle' if key == 'angle' else key} of {parts[1]}"
    return " ".join(parts).replace("_", " ")


def _levels(study: Study, rows: pandas.DataFrame) -> tuple[Measure | None, pandas.Series[Any]]:
    """Return the quantity of the levels, and the level of each row.

    The levels are values of the drive. They are step numbers if the free end is moved after the
    drive, or if most cases do not share the same values of the drive.
    """
    number = rows.groupby(CURVE).cumcount()
    steps = None, number.astype(float)
    if study.base.move:
        return steps
    if study.base.pressure:
        drive, levels = PRESSURE, rows[PRESSURE.column]
    elif study.base.volume:
        volume = table.volume.column
        rest = rows.groupby(CURVE)[volume].transform("first")
        drive, levels = VOLUME, table.added.value(rows[volume] - rest)
    else:
        drive, levels = AIR, rows[AIR.column]
    levels = levels.round(DECIMALS) + 0.0
    shared = levels[number > 0].value_counts().max()
    curves = rows.groupby(CURVE).ngroups
    return (drive, levels) if shared > curves / 2 else steps
