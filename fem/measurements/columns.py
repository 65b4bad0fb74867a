"""Columns of a bench file: settings, pressure, measured quantities, and unused columns."""

from __future__ import annotations

import re
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from fem.case.case import Case
from fem.case.thread_family import ThreadFamily
from fem.core.errors import InputError
from fem.core.units import NUMBER, UNITS, registry, split
from fem.quantities import table
from fem.quantities.case_fields import cells, written
from fem.quantities.column import STD, Measure, measures_of
from fem.quantities.quantity import Trait

REPEAT = "repeat"

OF_FAMILY = set(ThreadFamily.model_fields) - {"name"}
"""Fields of a family of threads; ``slack.A`` is that of family A."""

OF_ALL = OF_FAMILY - {"count"}
"""Fields that a column can set for all families; "count" alone may have another meaning."""

PRESSURE = Measure(table.pressure)


@dataclass(frozen=True)
class ValueColumn:
    """A column of values: a measured quantity, its standard deviation, or the pressure.

    Attributes
    ----------
    measure
        The measured quantity, or the pressure.
    column
        Its column in the table.
    factor
        Factor from the unit of a cell to the unit of the table.
    """

    measure: Measure
    column: str
    factor: float

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys that no other column may have."""
        return (self.column,)


@dataclass(frozen=True)
class SettingColumn:
    """A column that sets fields of the case, all to the same value.

    Attributes
    ----------
    name
        Its name in the file.
    fields
        The fields, named as in a study.
    unit
        Its unit; empty for text and plain numbers.
    """

    name: str
    fields: tuple[str, ...]
    unit: str

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys that no other column may have."""
        return self.fields

    def value(self, cell: str) -> Any:
        """Return the value of a cell for the case.

        Raises
        ------
        ValueError
            If the column has a unit and `cell` is not a number.
        """
        if not re.fullmatch(NUMBER, cell):
            if self.unit:
                raise ValueError("this is not a number")
            return cell
        if self.unit:
            return f"{cell} {self.unit}"
        return int(cell) if re.fullmatch(r"[-+]?[0-9]+", cell) else float(cell)

    def table_cell(self, case: Case, given: Any) -> tuple[str, Any]:
        """Return its column in the table, and the value of the case.

        The value is `given` if the case replaces the field, such as a material by its constants.
        """
        try:
            ((column, value),) = cells(case, self.fields[:1]).items()
        except InputError:
            return self.name, given
        return (column.rpartition(".")[0] if len(self.fields) > 1 else column), value


@dataclass(frozen=True)
class RepeatColumn:
    """The column that distinguishes repeated measurements."""

    keys = (REPEAT,)


@dataclass(frozen=True)
class UnusedColumn:
    """A column that is not used; `hint` is a known name that resembles its name."""

    name: str
    hint: str

    keys = ()


type Column = ValueColumn | SettingColumn | RepeatColumn | UnusedColumn


def measures(case: Case) -> dict[str, Measure]:
    """Return the quantities of a case that can be measured, by name."""
    families = [family.name for family in case.threads]
    return {one.name: one for one in measures_of(families, traits=Trait.MEASURABLE)}


def column_of(head: str, case: Case) -> Column:
    """Return the column of a head such as ``twist [deg]``.

    Raises
    ------
    InputError
        If its unit or family does not fit, or the head is not valid.
    """
    match = re.fullmatch(r"\s*([^\[\]]+?)\s*(?:\[\s*([^\[\]]*?)\s*\])?\s*", head)
    if not match:
        raise InputError('write a name and its unit in brackets, such as "twist [deg]"')
    name, unit = match[1], match[2] or ""
    known = measures(case)
    if name == PRESSURE.name:
        return _value_column(name, PRESSURE, unit)
    if name == REPEAT:
        return RepeatColumn()
    if measure := known.get(name) or known.get(name.removesuffix(STD)):
        return _value_column(name, measure, unit)
    if fields := _fields(name, case):
        return _setting_column(name, fields, unit, case)
    return UnusedColumn(name, _hint(name, case))


def _value_column(name: str, measure: Measure, unit: str) -> ValueColumn:
    try:
        factor = measure.factor_from(unit)
    except ValueError:
        raise InputError(
            f"{measure.kind.kind} needs its unit in brackets, as in {name} [{measure.unit}]"
        ) from None
    return ValueColumn(measure, measure.column if name == measure.name else measure.std, factor)


def _fields(name: str, case: Case) -> tuple[str, ...]:
    """Return the fields of the case that a column sets; none if it sets none."""
    families = [family.name for family in case.threads]
    stem, _, family = name.partition(".")
    known = measures_of([family], traits=Trait.MEASURABLE)
    measured = {one.quantity.name for one in known if one.quantity.of == "threads"}
    if name in OF_ALL:
        if not families:
            raise InputError("the case has no threads")
        return tuple(f"threads.{family}.{name}" for family in families)
    if stem in measured and not family:
        raise InputError(f"add the family to the name, as in {stem}.{(families or ['A'])[0]}")
    if family and (stem in OF_FAMILY or stem in measured):
        if family not in families:
            raise InputError(
                f'the case has no family "{family}"; families: {", ".join(families) or "none"}'
            )
        return (f"threads.{family}.{stem}",)
    return (name,) if family and stem in type(case).model_fields else ()


def _setting_column(name: str, fields: tuple[str, ...], unit: str, case: Case) -> SettingColumn:
    """Return the column of a setting; its unit must be of the kind of the field."""
    if unit and not re.fullmatch(UNITS, unit):
        raise InputError(f'"{unit}" is not a unit')
    given = written(case, case.data, fields[0])
    quantity = split(given)
    if quantity and not _alike(unit, quantity[1]):
        raise InputError(f"the unit must be in brackets, as in {name} [{quantity[1]}]")
    if unit and given is not None and not quantity:
        raise InputError("this field has no unit: remove the brackets")
    return SettingColumn(name, fields, unit)


def _alike(unit: str, other: str) -> bool:
    """Return whether two units are of the same kind; a ratio is not an angle."""
    try:
        one, two = (registry().Quantity(1.0, text).to_root_units() for text in (unit, other))
    except Exception:  # pint raises many types of error
        return False
    return bool(unit) and one.units == two.units


def _hint(name: str, case: Case) -> str:
    """Return the known name that resembles an unknown one, empty if there is none."""
    families = [family.name for family in case.threads]
    names = [PRESSURE.name, REPEAT, *(known + end for known in measures(case) for end in ("", STD))]
    for field in sorted(OF_FAMILY):
        names += [field, *(f"{field}.{family}" for family in families)]
    return next(iter(get_close_matches(name, names, 1, cutoff=0.8)), "")
