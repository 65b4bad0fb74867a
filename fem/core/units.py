"""Quantities at the boundary: text with a unit outside, plain floats inside.

Inside the package every number is in one consistent system: mm, N, MPa, s, tonne, rad. Whatever
comes from or goes to a person carries its unit. The annotated types below (``Length``, ``Stress``,
...) are what a pydantic model writes for such a field: it reads ``"5 mm"``, holds ``5.0`` and
writes ``"5 mm"`` again.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Context, Decimal
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Annotated, Any

from annotated_types import GroupedMetadata
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


MINUS = "\N{MINUS SIGN}"
"""What stands before a negative number on screens and in pictures."""

NUMBER = r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?"
"""A decimal number, as a regular expression."""

_NAME = r"°?[^\W\d_]+|°"
_POWER = r"(?:(?:\^|\*\*)-?[0-9]|[²³])"
UNITS = rf"(?:{_NAME}){_POWER}?(?:\s*[*/· ]\s*(?:{_NAME}){_POWER}?)*"
"""Names of units, each with a power of one digit at most, multiplied or divided."""

PRECISE = Context(prec=50)
"""Numbers are converted with so many digits, and rounded to a float once."""

LENGTH = Unit("a length", "mm", "mm")
STRESS = Unit("a pressure or stress", "MPa", "kPa")
FORCE = Unit("a force", "N", "N")
ANGLE = Unit("an angle", "rad", "deg")
TORQUE = Unit("a torque", "N*mm", "N mm")
SPRING_RATE = Unit("a spring rate", "N/mm", "N/mm")
TWIST_RATE = Unit("a torsional spring rate", "N*mm/rad", "N mm/rad")
VOLUME = Unit("a volume", "mm^3", "mL")
MASS = Unit("a mass", "tonne", "mg")
TEMPERATURE = Unit("a temperature", "K", "K")


@cache
def registry() -> UnitRegistry[Any]:
    """Return the one pint registry (made on first use: pint is slow to import)."""
    from pint import UnitRegistry

    return UnitRegistry()


def split(value: Any, units: str = UNITS) -> tuple[float, str] | None:
    """Return number and unit of a text such as "5 mm", None if it is anything else.

    `units` is a regular expression of those that are meant.
    """
    text = value if isinstance(value, str) else ""
    match = re.fullmatch(rf"\s*({NUMBER})\s*({units})\s*", text)
    return (float(match[1]), match[2]) if match else None


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
    return _read_text(value, unit) if isinstance(value, str) else _read(value, unit)


def _read(value: Any, unit: Unit) -> float:
    due = f'write {unit.kind} with its unit, such as "3 {unit.shown}"'
    if isinstance(value, int | float):
        raise ValueError(f"a bare number has no unit; {due}")
    try:
        quantity = _quantity(value)
        same_kind = _root_unit(quantity.units) == _root_unit(unit.inside)
        number = _convert(quantity, unit.inside) if same_kind else math.nan
    except Exception:  # pint and the tokenizer below it raise a dozen kinds of error
        raise ValueError(f"this is not {unit.kind}; {due}") from None
    if quantity.units == registry().Unit(""):
        raise ValueError(f"the unit is missing; {due}")
    if not same_kind:  # a ratio is no angle, though pint would convert it
        raise ValueError(f"this is not {unit.kind}; {due}")
    if not math.isfinite(number):
        raise ValueError(f"not a finite number; {due}")
    return number + 0.0  # no negative zero


# Pint takes a tenth of a millisecond, and the cases of a study share most of their texts.
_read_text = lru_cache(maxsize=4096)(_read)


def _quantity(value: Any) -> Quantity[Any]:
    """Return text or a quantity as a quantity; pint itself would also work out sums in text."""
    if not isinstance(value, str):
        return registry().Quantity(value)
    match = re.fullmatch(rf"\s*({NUMBER}|[-+]?(?:nan|inf))\s*({UNITS})?\s*", value)
    if match is None:
        raise ValueError("no number followed by a unit")
    return registry().Quantity(Decimal(match[1]), registry().parse_units(match[2] or ""))


def _convert(quantity: Quantity[Any], inside: str) -> float:
    """Return the magnitude in the unit `inside`."""
    number = Decimal(quantity.magnitude)
    if registry().convert(0.0, quantity.units, inside):  # a scale with its own zero, as Celsius
        return float(registry().Quantity(float(number), quantity.units).to(inside).magnitude)
    return float(_scaled(number, quantity.units, inside))


def _scaled(number: Decimal, from_unit: Any, to_unit: Any) -> Decimal:
    """Return a number of one unit in another; 1.5 mg becomes just 1.5e-9 tonne."""
    inverse = _factor(to_unit, from_unit)
    if inverse.is_integer():  # 1e9 is exact, 1e-9 is not
        return PRECISE.divide(number, Decimal(inverse))
    return PRECISE.multiply(number, Decimal(_factor(from_unit, to_unit)))


def _factor(from_unit: Any, to_unit: Any) -> float:
    """Return the factor between two units, without the round-off of pint's way through SI units.

    >>> registry().convert(1.0, "mL", "mm^3"), _factor("mL", "mm^3")
    (1000.0000000000002, 1000.0)
    """
    factor = float(registry().convert(1.0, from_unit, to_unit))
    short = float(f"{factor:.12g}")
    return short if math.isclose(short, factor, rel_tol=1e-15) else factor


def _root_unit(unit: Any) -> Any:
    """Return the unit that all of its kind are multiples of."""
    return registry().Quantity(1.0, unit).to_root_units().units


@lru_cache(maxsize=4096)
def show(number: float, unit: Unit) -> str:
    """Return the shortest text in the shown unit that :func:`read` turns back into `number`.

    There always is one: decimal numbers of 17 digits are denser than floats, and as no conversion
    rounds but at its end, they are as dense in the other unit.

    >>> show(0.06, STRESS)
    '60 kPa'
    """
    shown = _scaled(Decimal(number), unit.inside, unit.shown)
    texts = (f"{_rounded(shown, digits)} {unit.shown}" for digits in (15, 16, 17))
    return next(text for text in texts if read(text, unit) == number)


def _rounded(number: Decimal, digits: int) -> str:
    rounded = Context(prec=digits).plus(number).normalize() + 0  # no negative zero
    return f"{rounded:f}" if -5 < rounded.adjusted() < digits else f"{rounded:e}"


@dataclass(frozen=True)
class QuantityField(GroupedMetadata):
    """What makes a float a pydantic field that is `unit` outside; bounds in the inside unit."""

    unit: Unit
    above: float = -math.inf
    least: float = -math.inf
    below: float = math.inf
    most: float = math.inf

    def __iter__(self) -> Iterator[Any]:
        """Yield what pydantic reads, writes and describes the field by."""
        yield BeforeValidator(self._check)
        yield PlainSerializer(lambda number: show(number, self.unit), return_type=str)
        example = f"3 {self.unit.shown}"
        yield WithJsonSchema(
            {
                "type": "string",
                "description": f'{self.unit.kind} with its unit, such as "{example}"',
                "pattern": rf"^\s*{NUMBER}\s*[A-Za-z°µ].*$",
            }
        )

    def _check(self, value: object) -> float:
        number = read(value, self.unit)
        for kept, words, bound in (
            (number > self.above, "greater than", self.above),
            (number >= self.least, "at least", self.least),
            (number < self.below, "less than", self.below),
            (number <= self.most, "at most", self.most),
        ):
            if not kept:
                raise ValueError(f"it must be {words} {show(bound, self.unit)}")
        return number


_Q = QuantityField
Length = Annotated[float, _Q(LENGTH, above=0, least=1e-6, most=1e5)]  # from a nanometre to 100 m
SignedLength = Annotated[float, _Q(LENGTH, least=-1e5, most=1e5)]
Stress = Annotated[float, _Q(STRESS, above=0, least=1e-6, most=1e4)]  # from 1 Pa to 10 GPa
StressOrZero = Annotated[float, _Q(STRESS, least=0, most=1e4)]
SignedStress = Annotated[float, _Q(STRESS, least=-1e4, most=1e4)]
Force = Annotated[float, _Q(FORCE, above=0, least=1e-3, most=1e7)]  # a thin yarn; a steel rope
SignedForce = Annotated[float, _Q(FORCE, least=-1e7, most=1e7)]
HelixAngle = Annotated[float, _Q(ANGLE, above=-math.pi / 2, below=math.pi / 2)]
Angle = Annotated[
    float, _Q(ANGLE, least=-math.radians(4e5), most=math.radians(4e5))
]  # over 1000 turns
Torque = Annotated[float, _Q(TORQUE, least=-1e10, most=1e10)]
SpringRate = Annotated[float, _Q(SPRING_RATE, least=0, most=1e9)]
TwistRate = Annotated[float, _Q(TWIST_RATE, least=0, most=1e12)]
Volume = Annotated[float, _Q(VOLUME, above=0, least=1.0, most=1e12)]  # a microlitre to 1000 m3
VolumeOrZero = Annotated[float, _Q(VOLUME, least=0, most=1e12)]
Mass = Annotated[float, _Q(MASS, above=0, least=1e-12, most=1.0)]  # from a microgram to a tonne
Temperature = Annotated[float, _Q(TEMPERATURE, least=200.0, most=400.0)]  # where rubber is rubber
