"""Columns of the step table: quantities of the tube, a family or an additional solve; values."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import groupby
from operator import attrgetter
from typing import Any, Final

from fem.core import units
from fem.core.errors import InputError
from fem.core.renamed import renamed_to
from fem.core.units import Unit
from fem.quantities import table
from fem.quantities.measures import Step, TubeValues
from fem.quantities.quantity import NO_TRAIT, PLAIN, Quantity, Trait, with_suffix

MESH_ERROR: Final = "mesh_error"
IF_BONDED: Final = "if_bonded"
"""Endings of the columns of additional solves."""

ENDINGS = ("", MESH_ERROR, IF_BONDED)

STD = ".std"
"""Ending of the column of a standard deviation."""

BAND = 1.959963984540054
"""Half width of the band with 95 % of normal noise, in standard deviations."""

UNITS = [unit for unit in vars(units).values() if isinstance(unit, Unit)]
"""The kinds of units of the fields of a case."""


@dataclass(frozen=True)
class Measure:
    """A column of a quantity: of one family, if each has its own, or of an additional solve.

    Attributes
    ----------
    quantity
        The quantity.
    family
        The thread family, empty for a quantity of the tube.
    ending
        Ending of the column of an additional solve, such as ``mesh_error``; otherwise empty.
    """

    quantity: Quantity
    family: str = ""
    ending: str = ""

    @property
    def column(self) -> str:
        """Its name in the step table: ``ring_torque_Nmm.A.mesh_error``."""
        return ".".join(filter(None, [self.quantity.column, self.family, self.ending]))

    @property
    def std(self) -> str:
        """Column of its standard deviation."""
        return self.column + STD

    @property
    def name(self) -> str:
        """Its name for users: ``ring_torque.A``."""
        return f"{self.quantity.name}.{self.family}" if self.family else self.quantity.name

    @property
    def kind(self) -> Unit:
        """The kind of unit."""
        return self.quantity.kind

    @property
    def unit(self) -> str:
        """Unit of the numbers in the column."""
        return self.quantity.unit

    @property
    def shown_unit(self) -> str:
        """Unit of the numbers on screens."""
        return self.kind.shown

    @property
    def title(self) -> str:
        """Short label with the family."""
        return f"{self.quantity.short} {self.family}".rstrip()

    @property
    def axis_label(self) -> str:
        """Axis label for the numbers of the column: ``ring torque A [N mm]``."""
        return with_unit(f"{self.quantity.label} {self.family}".rstrip(), self.unit)

    def show(self, row: Mapping[str, Any] | None, form: str = "") -> str:
        """Return a cell of a row in the shown unit; a dash if there is none."""
        if row is None or self.column not in row:
            return "-"
        text = f"{row[self.column] * self.quantity.factor:{form or self.quantity.form}}"
        return text.replace("-", "") if not text.strip("-0.") else text  # no negative zero

    def text(self, row: Mapping[str, Any], form: str = "") -> str:
        """Return the number of a row with its unit."""
        return f"{self.show(row, form)} {self.shown_unit}".rstrip()

    def factor_from(self, unit: str) -> float:
        """Return the factor from another unit to the unit of the column.

        Raises
        ------
        ValueError
            If the unit is of another kind.
        """
        if unit == self.unit:  # a plain number has none
            return 1.0
        return units.read(f"1 {unit}", self.kind) / units.read(f"1 {self.unit}", self.kind)

    def of(self, ending: str) -> Measure:
        """Return the column of an additional solve."""
        return replace(self, ending=ending)


def with_unit(label: str, unit: str) -> str:
    """Return a label with its unit in brackets, if it has one."""
    return f"{label} [{unit}]" if unit else label


def find(column: str) -> Measure | None:
    """Return the measure of a column of the step table; None for any other column.

    >>> find("ring_torque_Nmm.A.mesh_error").name
    'ring_torque.A'
    """
    stem, *parts = column.split(".")
    for quantity in table.QUANTITIES:
        if quantity.column == stem:
            family = parts.pop(0) if quantity.of == "threads" and parts else ""
            ending = ".".join(parts)
            return Measure(quantity, family, ending) if ending in ENDINGS else None
    return None


def named(column: str) -> Measure:
    """Return the measure of a column of a study: a quantity, or a setting by its name and unit.

    >>> named("angle_deg.A").axis_label
    'angle A [deg]'
    """
    stem, _, family = column.partition(".")
    endings = ((unit, with_suffix("", unit.shown)) for unit in UNITS if unit.shown)
    fitting = [(end, unit) for unit, end in endings if stem.endswith(end)]
    end, unit = max(fitting, key=lambda one: len(one[0]), default=("", PLAIN))
    setting = Quantity(stem.removesuffix(end), "", "path", float, unit)
    return find(column) or Measure(setting, family)


def by_name(names: Iterable[str], columns: Iterable[str]) -> list[Measure]:
    """Return the measures with the given names in a table with these columns.

    The name of a quantity of the threads selects all families.

    >>> [one.name for one in by_name(["tension"], ["twist_deg", "tension_N.A", "tension_N.B"])]
    ['tension.A', 'tension.B']

    Raises
    ------
    InputError
        If the table has no quantity with such a name.
    """
    found = [one for one in map(find, dict.fromkeys(columns)) if one and not one.ending]
    known = [one for one in found if Trait.SOLVER not in one.quantity.traits]
    chosen: list[Measure] = []
    for name in names:
        fitting = [one for one in known if name in (one.name, one.quantity.name)]
        if not fitting:
            allowed = ", ".join(dict.fromkeys(one.name for one in known))
            raise InputError(f'quantity "{name}"{renamed_to(name)}: unknown; allowed: {allowed}')
        chosen += fitting
    return chosen


def measures_of(
    families: Iterable[str] = (), *, section: str | None = None, traits: Trait = NO_TRAIT
) -> list[Measure]:
    """Return the columns of a section with given traits, of the tube and then of each family.

    >>> [measure.column for measure in measures_of(section="motion")]
    ['twist_deg', 'displacement_mm', 'bulge_mm']
    """
    chosen = [
        quantity
        for quantity in table.QUANTITIES
        if traits in quantity.traits and section in (None, quantity.section)
    ]
    whole = [Measure(quantity) for quantity in chosen if quantity.of != "threads"]
    threads = [quantity for quantity in chosen if quantity.of == "threads"]
    return [*whole, *(Measure(quantity, name) for name in families for quantity in threads)]


def step_columns(state: Step) -> dict[str, Any]:
    """Return the columns of many states by name: arrays, or one value for all."""
    return {measure.column: value for measure, value in _values(state, state.tube)}


def step_row(state: Step) -> dict[str, Any]:
    """Return the row of one state by column name."""
    values = _values(state, state.tube)
    return {measure.column: measure.quantity.type(value) for measure, value in values}


def measures(tube: TubeValues) -> dict[str, float]:
    """Return by column name the values of one state that do not depend on its path."""
    values = _values(None, tube)
    return {measure.column: float(value) for measure, value in values}


def _values(state: Step | None, tube: TubeValues) -> Iterator[tuple[Measure, Any]]:
    """Yield columns and values, the columns of each family together."""
    sources: dict[str, list[Any]] = {"tube": [tube], "threads": tube.threads}
    if state:
        sources["path"] = [state]
    for of, group in groupby(table.QUANTITIES, attrgetter("of")):
        quantities = [q for q in group if state is None or state.model in q.models]
        for source in sources.get(of, []):
            family = source.name if of == "threads" else ""
            for quantity in quantities:
                value = quantity.value(source)
                if value is not None:
                    yield Measure(quantity, family), value
