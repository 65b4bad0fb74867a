"""What the columns of a bench file mean: settings, pressure, measured quantities, or nothing."""

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
"""Fields that a column sets for all families at once; "count" alone may count anything."""

GAUGE = Measure(table.pressure)


@dataclass(frozen=True)
class Figure:
    """A column of figures: a measured quantity, its standard deviation, or the pressure.

    Attributes
    ----------
    measure
        What it belongs to.
    column
        Its column in the table.
    factor
        What a cell is multiplied by, to get the unit of the table.
    """

    measure: Measure
    column: str
    factor: float

    @property
    def gives(self) -> tuple[str, ...]:
        """What no other column may give."""
        return (self.column,)


@dataclass(frozen=True)
class Setting:
    """A column that sets fields of the case, all to the same value.

    Attributes
    ----------
    name
        As the file has it.
    fields
        The fields, named as in a study.
    unit
        Its unit; empty for text and plain numbers.
    """

    name: str
    fields: tuple[str, ...]
    unit: str

    @property
    def gives(self) -> tuple[str, ...]:
        """What no other column may give."""
        return self.fields

    def value(self, cell: str) -> Any:
        """Return what is put into the case for a cell.

        Raises
        ------
        ValueError
            If it has a unit and `cell` is no number.
        """
        if not re.fullmatch(NUMBER, cell):
            if self.unit:
                raise ValueError("this is no number")
            return cell
        if self.unit:
            return f"{cell} {self.unit}"
        return int(cell) if re.fullmatch(r"[-+]?[0-9]+", cell) else float(cell)

    def shown(self, case: Case, given: Any) -> tuple[str, Any]:
        """Return its column in the table, and what the case says there.

        It is `given` where the case puts something else in its place, as constants for a material.
        """
        try:
            ((column, value),) = cells(case, self.fields[:1]).items()
        except InputError:
            return self.name, given
        return (column.rpartition(".")[0] if len(self.fields) > 1 else column), value


@dataclass(frozen=True)
class Repeat:
    """The column that tells repeated measurements apart."""

    gives = (REPEAT,)


@dataclass(frozen=True)
class Extra:
    """A column that nothing is made of, and the known one that it may have been meant for."""

    name: str
    hint: str

    gives = ()


type Meaning = Figure | Setting | Repeat | Extra


def measures(case: Case) -> dict[str, Measure]:
    """Return what can be measured on a case, by name."""
    families = [family.name for family in case.threads]
    return {one.name: one for one in measures_of(families, traits=Trait.MEASURABLE)}


def meaning(head: str, case: Case) -> Meaning:
    """Return what a column means by its head, such as ``twist [deg]``.

    Raises
    ------
    InputError
        If it is meant for a known one, but its unit or family is not.
    """
    match = re.fullmatch(r"\s*([^\[\]]+?)\s*(?:\[\s*([^\[\]]*?)\s*\])?\s*", head)
    if not match:
        raise InputError('write a name and, in brackets, its unit, such as "twist [deg]"')
    name, unit = match[1], match[2] or ""
    known = measures(case)
    if name == GAUGE.name:
        return _figure(name, GAUGE, unit)
    if name == REPEAT:
        return Repeat()
    if measure := known.get(name) or known.get(name.removesuffix(STD)):
        return _figure(name, measure, unit)
    if fields := _fields(name, case):
        return _setting(name, fields, unit, case)
    return Extra(name, _hint(name, case))


def _figure(name: str, measure: Measure, unit: str) -> Figure:
    try:
        factor = measure.per(unit)
    except ValueError:
        raise InputError(
            f"this is {measure.kind.kind}: put its unit in brackets, as in {name} [{measure.unit}]"
        ) from None
    return Figure(measure, measure.column if name == measure.name else measure.std, factor)


def _fields(name: str, case: Case) -> tuple[str, ...]:
    """Return the fields of the case that a column sets; none if it is not meant to."""
    families = [family.name for family in case.threads]
    stem, _, family = name.partition(".")
    known = measures_of([family], traits=Trait.MEASURABLE)
    measured = {one.quantity.name for one in known if one.quantity.of == "threads"}
    if name in OF_ALL:
        if not families:
            raise InputError("the case has no threads")
        return tuple(f"threads.{family}.{name}" for family in families)
    if stem in measured and not family:
        raise InputError(f"name the family, as in {stem}.{(families or ['A'])[0]}")
    if family and (stem in OF_FAMILY or stem in measured):
        if family not in families:
            raise InputError(
                f'the case has no family "{family}"; it has {", ".join(families) or "none"}'
            )
        return (f"threads.{family}.{stem}",)
    return (name,) if family and stem in type(case).model_fields else ()


def _setting(name: str, fields: tuple[str, ...], unit: str, case: Case) -> Setting:
    """Return the column of a setting; its unit has to be of the kind that the case has there."""
    if unit and not re.fullmatch(UNITS, unit):
        raise InputError(f'"{unit}" is no unit')
    given = written(case, case.data, fields[0])
    quantity = split(given)
    if quantity and not _alike(unit, quantity[1]):
        raise InputError(f"put its unit in brackets, as in {name} [{quantity[1]}]")
    if unit and given is not None and not quantity:
        raise InputError("this has no unit: take the brackets away")
    return Setting(name, fields, unit)


def _alike(unit: str, other: str) -> bool:
    """Return whether two units are of one kind; a ratio is no angle."""
    try:
        one, two = (registry().Quantity(1.0, text).to_root_units() for text in (unit, other))
    except Exception:  # pint raises a dozen kinds of error
        return False
    return bool(unit) and one.units == two.units


def _hint(name: str, case: Case) -> str:
    """Return the known name that an unknown one resembles, empty if none."""
    families = [family.name for family in case.threads]
    names = [GAUGE.name, REPEAT, *(known + end for known in measures(case) for end in ("", STD))]
    for field in sorted(OF_FAMILY):
        names += [field, *(f"{field}.{family}" for family in families)]
    return next(iter(get_close_matches(name, names, 1, cutoff=0.8)), "")
