"""The error that a user allows: ``twist 3 deg, displacement 0.5 mm, ring_torque.A 5 %``.

Quantities are named by their columns in the step table without the unit. A share in per cent is
one of the greatest magnitude that the FE model finds in the study.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fem.core.errors import InputError
from fem.core.units import NUMBER, UNITS, registry

if TYPE_CHECKING:
    from fem.study.study_result import Outcome

SHOWN = {
    **{"deg": "deg", "mm": "mm", "mm3": "mm^3", "N": "N", "Nmm": "N mm", "kPa": "kPa"},
    **{"mg": "mg"},
}
"""Units as the names of columns end with them, and as a person writes them."""

BESIDES = {
    *("case", "model", "step", "demanded", "stable", "limit", "energy_gap", "newton_iterations"),
}
"""Columns of the table of a study that measure nothing of the tube."""


@dataclass(frozen=True)
class Quantity:
    """A measured column of the table of a study.

    Attributes
    ----------
    column
        Its name in the table, such as ``ring_torque_Nmm.A``.
    name
        The same without the unit: ``ring_torque.A``.
    unit
        The unit as it is shown, empty for a plain number.
    """

    column: str
    name: str
    unit: str

    @classmethod
    def of(cls, column: str) -> Quantity:
        """Return the quantity of a column."""
        stem, dot, family = column.partition(".")
        name, _, ending = stem.rpartition("_")
        if name and ending in SHOWN:
            return cls(column, f"{name}{dot}{family}", SHOWN[ending])
        return cls(column, column, "")

    @property
    def words(self) -> str:
        """What an axis says: ``ring torque A [N mm]``."""
        words = self.name.replace("_", " ").replace(".", " ")
        return f"{words} [{self.unit}]" if self.unit else words


@dataclass(frozen=True)
class Tolerance:
    """The greatest error of one quantity that is borne.

    Attributes
    ----------
    quantity
        What it is of.
    limit
        The error, in the shown unit of the quantity.
    """

    quantity: Quantity
    limit: float

    def __str__(self) -> str:
        """Return the words of a title."""
        return f"{self.quantity.name} {self.limit:.4g} {self.quantity.unit}".rstrip()


def quantities(outcome: Outcome) -> dict[str, Quantity]:
    """Return what was measured in a study, by its short names."""
    own = {*BESIDES, *outcome.varied}
    if outcome.study.base.pressure:
        own.add("pressure_kPa")  # there it is set, not found
    numbers = outcome.table.select_dtypes("number").columns
    found = [Quantity.of(column) for column in numbers if column not in own]
    return {quantity.name: quantity for quantity in found}


def parse(text: str, outcome: Outcome) -> tuple[Tolerance, ...]:
    """Read the tolerances of a study.

    Parameters
    ----------
    text
        Name, number and unit (or %) of each, parted by commas.
    outcome
        The study, which says what there is to name.

    Raises
    ------
    InputError
        If a name is not known or comes twice, a number or unit does not fit, or a share is wanted
        of what the FE model finds to be nil throughout.
    """
    known = quantities(outcome)
    found: dict[str, Tolerance] = {}
    for part in text.split(","):
        tolerance = _parse_one(part.strip(), known, outcome)
        if tolerance.quantity.name in found:
            raise InputError(f'tolerance: "{tolerance.quantity.name}" is given more than once')
        found[tolerance.quantity.name] = tolerance
    return tuple(found.values())


def _parse_one(part: str, known: dict[str, Quantity], outcome: Outcome) -> Tolerance:
    match = re.fullmatch(rf"(\S+)\s+({NUMBER})\s*(%|{UNITS})?", part)
    if not match:
        raise InputError(
            f'tolerance "{part}": write name, number and unit, such as "twist 3 deg" or "twist 5 %"'
        )
    name, number, unit = match[1], float(match[2]), match[3] or ""
    if name not in known:
        raise InputError(
            f'tolerance "{part}": the study has no quantity "{name}"; allowed: {", ".join(known)}'
        )
    quantity = known[name]
    if unit == "%":
        limit = number / 100 * _greatest(quantity, outcome, part)
    else:
        limit = _converted(number, unit, quantity, part)
    if not (math.isfinite(limit) and limit > 0):
        raise InputError(f'tolerance "{part}": the number must be greater than 0')
    return Tolerance(quantity, limit)


def _greatest(quantity: Quantity, outcome: Outcome, part: str) -> float:
    """Return the greatest magnitude that the FE model finds."""
    greatest = float(outcome.of("fe")[quantity.column].abs().max())
    if not greatest > 0:
        raise InputError(
            f'tolerance "{part}": the FE model finds no {quantity.name} in this study, so a share '
            f"of it says nothing; give it in {quantity.unit or 'plain numbers'}"
        )
    return greatest


def _converted(number: float, unit: str, quantity: Quantity, part: str) -> float:
    """Return a number in the shown unit of a quantity."""
    due = f"a number with a unit such as {quantity.unit}" if quantity.unit else "a plain number"
    try:
        given = registry().Quantity(number, registry().parse_units(unit))
        if bool(unit) != bool(quantity.unit):  # pint takes an angle for a plain number
            raise ValueError
        return float(given.to(registry().parse_units(quantity.unit)).magnitude)
    except Exception:  # pint raises a dozen kinds of error
        raise InputError(
            f'tolerance "{part}": {quantity.name} takes {due}, or a share in %'
        ) from None
