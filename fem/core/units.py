"""Units: text with a unit in files and on screens, plain floats inside the package.

Inside the package every number is in one consistent system: mm, N, MPa, s, tonne, rad. Every
quantity that a user writes or reads has its unit. The annotated types below (``Length``,
``Stress``, ...) are types of pydantic fields: such a field reads ``"5 mm"``, has the value ``5.0``
and is written as ``"5 mm"``.
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
        Its name in messages, e.g. ``"a length"``.
    inside
        Unit of the floats inside the package.
    shown
        Unit in files and on screens.
    """

    kind: str
    inside: str
    shown: str


MINUS = "\N{MINUS SIGN}"
"""The sign of a negative number on screens and in pictures."""

NUMBER = r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?"
"""Regular expression of a decimal number."""

_NAME = r"°?[^\W\d_]+|°"
_POWER = r"(?:(?:\^|\*\*)-?[0-9]|[²³])"
UNITS = rf"(?:{_NAME}){_POWER}?(?:\s*[*/· ]\s*(?:{_NAME}){_POWER}?)*"
"""Regular expression of units, each with a power of at most one digit, multiplied or divided."""

PRECISE = Context(prec=50)
"""Numbers are converted with 50 digits, and rounded to a float once."""

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
    """Return the shared pint registry, created at the first use since pint is slow to import."""
    from pint import UnitRegistry

    return UnitRegistry()


def split(value: Any, units: str = UNITS) -> tuple[float, str] | None:
    """Return number and unit of a text such as "5 mm", None for anything else.

    `units` is a regular expression of the units that are accepted.
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
        The kind of quantity that is required.

    Raises
    ------
    ValueError
        If the unit is missing or of another kind, or the number is not finite.
    """
    return _read_text(value, unit) if isinstance(value, str) else _read(value, unit)


def _read(value: Any, unit: Unit) -> float:
    required = f'write {unit.kind} with its unit, such as "3 {unit.shown}"'
    if isinstance(value, int | float):
        raise ValueError(f"the unit is missing; {required}")
    try:
        quantity = _quantity(value)
        same_kind = _root_unit(quantity.units) == _root_unit(unit.inside)
        number = _convert(quantity, unit.inside) if same_kind else math.nan
    except Exception:  # pint and its tokenizer raise many types of error
        raise ValueError(f"this is not {unit.kind}; {required}") from None
    if quantity.units == registry().Unit(""):
        raise ValueError(f"the unit is missing; {required}")
    if not same_kind:  # a ratio is not an angle, although pint would convert it
        raise ValueError(f"this is not {unit.kind}; {required}")
    if not math.isfinite(number):
        raise ValueError(f"this is not a finite number; {required}")
    return number + 0.0  # no negative zero


# Pint takes 0.1 ms for each text, and the cases of a study have most of their texts in common.
_read_text = lru_cache(maxsize=4096)(_read)


def _quantity(value: Any) -> Quantity[Any]:
    """Return text or a quantity as a quantity; pint alone would also accept sums in text."""
    if not isinstance(value, str):
        return registry().Quantity(value)
    match = re.fullmatch(rf"\s*({NUMBER}|[-+]?(?:nan|inf))\s*({UNITS})?\s*", value)
    if match is None:
        raise ValueError("not a number followed by a unit")
    return registry().Quantity(Decimal(match[1]), registry().parse_units(match[2] or ""))


def _convert(quantity: Quantity[Any], inside: str) -> float:
    """Return the magnitude in the unit `inside`."""
    number = Decimal(quantity.magnitude)
    if registry().convert(0.0, quantity.units, inside):  # a scale with an offset: Celsius
        return float(registry().Quantity(float(number), quantity.units).to(inside).magnitude)
    return float(_scaled(number, quantity.units, inside))


def _scaled(number: Decimal, from_unit: Any, to_unit: Any) -> Decimal:
    """Convert a number; 1.5 mg becomes exactly 1.5e-9 tonne."""
    inverse = _factor(to_unit, from_unit)
    if inverse.is_integer():  # 1e9 is exact, 1e-9 is not
        return PRECISE.divide(number, Decimal(inverse))
    return PRECISE.multiply(number, Decimal(_factor(from_unit, to_unit)))


def _factor(from_unit: Any, to_unit: Any) -> float:
    """Return the factor between two units, without pint's round-off from SI units in between.

    >>> registry().convert(1.0, "mL", "mm^3"), _factor("mL", "mm^3")
    (1000.0000000000002, 1000.0)
    """
    factor = float(registry().convert(1.0, from_unit, to_unit))
    short = float(f"{factor:.12g}")
    return short if math.isclose(short, factor, rel_tol=1e-15) else factor


def _root_unit(unit: Any) -> Any:
    """Return the base unit of the kind, in terms of which all others are defined."""
    return registry().Quantity(1.0, unit).to_root_units().units


@lru_cache(maxsize=4096)
def show(number: float, unit: Unit) -> str:
    """Return the shortest text in the shown unit that :func:`read` turns back into `number`.

    It always exists: decimal numbers of 17 digits are denser than floats, in the other unit too,
    since a conversion rounds only once, at its end.

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
    """Makes a float a pydantic field with a unit in files; the bounds are in the inside unit."""

    unit: Unit
    above: float = -math.inf
    least: float = -math.inf
    below: float = math.inf
    most: float = math.inf

    def __iter__(self) -> Iterator[Any]:
        """Yield the validator, the serializer and the JSON schema of the field."""
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
        for satisfied, words, bound in (
            (number > self.above, "greater than", self.above),
            (number >= self.least, "at least", self.least),
            (number < self.below, "less than", self.below),
            (number <= self.most, "at most", self.most),
        ):
            if not satisfied:
                raise ValueError(f"it must be {words} {show(bound, self.unit)}")
        return number


_Q = QuantityField
Length = Annotated[float, _Q(LENGTH, above=0, least=1e-6, most=1e5)]  # from a nanometre to 100 m
SignedLength = Annotated[float, _Q(LENGTH, least=-1e5, most=1e5)]
Stress = Annotated[float, _Q(STRESS, above=0, least=1e-6, most=1e4)]  # from 1 Pa to 10 GPa
StressOrZero = Annotated[float, _Q(STRESS, least=0, most=1e4)]
SignedStress = Annotated[float, _Q(STRESS, least=-1e4, most=1e4)]
Force = Annotated[float, _Q(FORCE, above=0, least=1e-3, most=1e7)]  # thin yarn to steel rope
SignedForce = Annotated[float, _Q(FORCE, least=-1e7, most=1e7)]
HelixAngle = Annotated[float, _Q(ANGLE, above=-math.pi / 2, below=math.pi / 2)]
Angle = Annotated[
    float, _Q(ANGLE, least=-math.radians(4e5), most=math.radians(4e5))
]  # more than 1000 turns
Torque = Annotated[float, _Q(TORQUE, least=-1e10, most=1e10)]
SpringRate = Annotated[float, _Q(SPRING_RATE, least=0, most=1e9)]
TwistRate = Annotated[float, _Q(TWIST_RATE, least=0, most=1e12)]
Volume = Annotated[float, _Q(VOLUME, above=0, least=1.0, most=1e12)]  # a microlitre to 1000 m3
VolumeOrZero = Annotated[float, _Q(VOLUME, least=0, most=1e12)]
Mass = Annotated[float, _Q(MASS, above=0, least=1e-12, most=1.0)]  # from a microgram to a tonne
Temperature = Annotated[float, _Q(TEMPERATURE, least=200.0, most=400.0)]  # of rubber elasticity
