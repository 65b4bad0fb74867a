"""Quantities at the boundary: text with a unit outside, plain floats inside.

Inside the package every number is in one consistent system: mm, N, MPa, s, tonne, rad. Whatever
comes from or goes to a person carries its unit. The annotated types below (``Length``, ``Stress``,
...) are what a pydantic model writes for such a field: it reads ``"5 mm"``, holds ``5.0`` and
writes ``"5 mm"`` again.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BeforeValidator, PlainSerializer, WithJsonSchema

if TYPE_CHECKING:
    from pint import Quantity, UnitRegistry


@dataclass(frozen=True)
class Unit:
    """One kind of quantity.

    Parameters
    ----------
    kind
        What a person calls it, e.g. ``"a length"``.
    inside
        Unit of the float that the package computes with.
    shown
        Unit in which it is written for a person.
    """

    kind: str
    inside: str
    shown: str


NUMBER = r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?"
"""A decimal number, as a regular expression."""

_NAME = r"[^\W\d_]+|°"
_POWER = r"(?:(?:\^|\*\*)-?[0-9]|[²³])"
UNITS = rf"(?:{_NAME}){_POWER}?(?:\s*[*/· ]\s*(?:{_NAME}){_POWER}?)*"
"""Names of units, each with a power of one digit at most, multiplied or divided."""

LENGTH = Unit("a length", "mm", "mm")
STRESS = Unit("a pressure or stress", "MPa", "kPa")
FORCE = Unit("a force", "N", "N")
ANGLE = Unit("an angle", "rad", "deg")


@cache
def registry() -> UnitRegistry[Any]:
    """Return the one pint registry (made on first use: pint is slow to import)."""
    from pint import UnitRegistry

    return UnitRegistry()


def read(value: Any, unit: Unit) -> float:
    """Return `value` in the inside unit.

    Parameters
    ----------
    value
        Text such as ``"5 mm"``, a number and a unit, or a pint quantity.
    unit
        The kind of quantity that is due.

    Raises
    ------
    ValueError
        If there is no unit, a wrong one, or no finite number.
    """
    due = f'write {unit.kind} with its unit, such as "3 {unit.shown}"'
    if isinstance(value, int | float):
        raise ValueError(f"a bare number has no unit; {due}")
    try:
        quantity = _quantity(value)
        same_kind = _root_unit(quantity.units) == _root_unit(unit.inside)
        number = float(quantity.to(unit.inside).magnitude) if same_kind else math.nan
    except Exception:  # pint and the tokenizer below it raise a dozen kinds of error
        raise ValueError(f"this is not {unit.kind}; {due}") from None
    if quantity.units == registry().Unit(""):
        raise ValueError(f"the unit is missing; {due}")
    if not same_kind:  # a ratio is no angle, though pint would convert it
        raise ValueError(f"this is not {unit.kind}; {due}")
    if not math.isfinite(number):
        raise ValueError(f"not a finite number; {due}")
    return number + 0.0  # no negative zero


def _quantity(value: Any) -> Quantity[Any]:
    """Return text or a quantity as a quantity; pint itself would also work out sums in text."""
    if not isinstance(value, str):
        return registry().Quantity(value)
    match = re.fullmatch(rf"\s*({NUMBER}|[-+]?(?:nan|inf))\s*({UNITS})?\s*", value)
    if match is None:
        raise ValueError("no number followed by a unit")
    return registry().Quantity(float(match[1]), registry().parse_units(match[2] or ""))


def _root_unit(unit: Any) -> Any:
    """Return the unit that all of its kind are multiples of."""
    return registry().Quantity(1.0, unit).to_root_units().units


def show(number: float, unit: Unit) -> str:
    """Return the shortest text that :func:`read` turns back into exactly `number`.

    >>> show(0.06, STRESS)
    '60 kPa'
    """
    factor = registry().convert(1.0, unit.inside, unit.shown)
    for digits in (15, 16, 17):
        text = f"{number * factor:.{digits}g} {unit.shown}"
        if read(text, unit) == number:
            return text
    return f"{number!r} {unit.inside}"


def _field(
    unit: Unit,
    *,
    above: float = -math.inf,
    least: float = -math.inf,
    below: float = math.inf,
    most: float = math.inf,
) -> Any:
    """Return the pydantic type of a float that is `unit` outside; bounds in the inside unit."""
    example = f"3 {unit.shown}"
    schema = {
        "type": "string",
        "description": f'{unit.kind} with its unit, such as "{example}"',
        "pattern": rf"^\s*{NUMBER}\s*[A-Za-z°µ].*$",
    }

    def check(value: object) -> float:
        number = read(value, unit)
        if not number > above:
            raise ValueError(f"it must be greater than {show(above, unit)}")
        if not number >= least:
            raise ValueError(f"it must be at least {show(least, unit)}")
        if not number < below:
            raise ValueError(f"it must be less than {show(below, unit)}")
        if not number <= most:
            raise ValueError(f"it must be at most {show(most, unit)}")
        return number

    return Annotated[
        float,
        BeforeValidator(check),
        PlainSerializer(lambda number: show(number, unit), return_type=str),
        WithJsonSchema(schema),
    ]


if TYPE_CHECKING:
    type Length = float
    type Stress = float
    type StressOrZero = float
    type Force = float
    type HelixAngle = float
else:
    Length = _field(LENGTH, above=0, least=1e-6, most=1e5)  # from a nanometre to 100 m
    Stress = _field(STRESS, above=0, least=1e-6, most=1e4)  # from 1 Pa to 10 GPa
    StressOrZero = _field(STRESS, least=0, most=1e4)
    Force = _field(FORCE, above=0, least=1e-3, most=1e7)  # a hair; a steel rope
    HelixAngle = _field(ANGLE, above=-math.pi / 2, below=math.pi / 2)
