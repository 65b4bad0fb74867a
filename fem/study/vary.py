"""Fields that a study varies, and their values."""

from __future__ import annotations

import math
from typing import Annotated, Self

import numpy as np
from pydantic import Field, PlainValidator, WithJsonSchema, model_validator

from fem.core.arrays import Array
from fem.core.schema_base import CheckedTable, invalid
from fem.core.units import UNITS, registry, split

MAX_VALUES = 10_000

UNIT = f"{UNITS}|%"
"""Units of quantities that may vary."""

RANGE = 'a range needs two quantities, such as from = "3 mm", to = "5 mm"'


def _value(value: object) -> object:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError('a text, such as "20 deg", or a number is required')
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError("it must be a finite number")
    return value


Value = Annotated[
    str | int | float, PlainValidator(_value), WithJsonSchema({"type": ["string", "number"]})
]
"""A value as in a case file: text, usually a quantity with its unit, or a number."""


class Vary(CheckedTable):
    """Fields of the case that vary together, over a list of values or a range of quantities.

    Fields have the names of the case file, with the name of a family: ``threads.A.angle``.
    """

    field: str = Field(min_length=1, description="Field of the case, such as threads.A.angle.")
    same: tuple[str, ...] = Field(default=(), description="Fields that take the same value.")
    opposite: tuple[str, ...] = Field(
        default=(), description="Fields that take the value with the opposite sign."
    )
    values: tuple[Value, ...] | None = Field(
        default=None, max_length=MAX_VALUES, description="The values."
    )
    start: Value | None = Field(
        default=None, alias="from", description="Start of a range, instead of values."
    )
    end: Value | None = Field(default=None, alias="to", description="End of the range.")
    count: int | None = Field(
        default=None,
        ge=2,
        le=MAX_VALUES,
        strict=True,
        description="Number of equally spaced values; without it, [scatter] chooses the values.",
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        range_keys = [key for key in ("start", "end", "count") if getattr(self, key) is not None]
        names = {"start": "from", "end": "to", "count": "count"}
        if self.values == ():
            raise invalid("at least one is required", "values")
        if self.values is not None and range_keys:
            raise invalid("give either values, or from and to", names[range_keys[0]])
        if self.values is None:
            for key in ("start", "end"):
                value = getattr(self, key)
                if value is None:
                    raise invalid("this key is missing; give values, or from and to", names[key])
                if isinstance(value, str) and not split(value, UNIT):
                    raise invalid(RANGE, names[key])
            try:
                self._ends()
            except ValueError as error:
                raise invalid(str(error), "to") from None
        for value in (self.values or (self.start,)) if self.opposite else ():
            if isinstance(value, str) and not split(value, UNIT):
                raise invalid("only a quantity with a unit can change its sign", "opposite")
        return self

    @property
    def fields(self) -> tuple[str, ...]:
        """All its fields."""
        return (self.field, *self.same, *self.opposite)

    @property
    def size(self) -> int:
        """Number of values; 1 if the design chooses them."""
        return len(self.values) if self.values else self.count or 1

    @property
    def scattered(self) -> bool:
        """Whether it is a range whose values the design chooses."""
        return self.values is None and self.count is None

    def settings(self, at: Array | None = None) -> list[dict[str, Value]]:
        """Return the settings of the fields, one for each value.

        `at`, shape (n,), are positions in the range, from 0 to 1; equally spaced if None.
        """
        values = self.values or self._between(np.linspace(0, 1, self.count or 2), at)
        return [
            dict.fromkeys((self.field, *self.same), value)
            | {field: _negative(value) for field in self.opposite}
            for value in values
        ]

    def _ends(self) -> tuple[float, float, str]:
        """Return both ends of the range in the unit of the start, and this unit."""
        assert self.start is not None and self.end is not None
        if not isinstance(self.start, str) or not isinstance(self.end, str):
            if isinstance(self.start, str) or isinstance(self.end, str):
                raise ValueError("both ends of a range need a unit, or neither")
            return float(self.start), float(self.end), ""
        start, end = split(self.start, UNIT), split(self.end, UNIT)
        assert start and end  # checked before
        return start[0], _in_unit(*end, start[1]), start[1]

    def _between(self, steps: Array, at: Array | None) -> list[Value]:
        start, end, unit = self._ends()
        numbers = start + (end - start) * (steps if at is None else at)
        if unit:
            return [f"{number:.12g} {unit}" for number in numbers]
        integers = isinstance(self.start, int) and isinstance(self.end, int)
        return [int(n) if integers and n.is_integer() else float(n) for n in numbers]


def _in_unit(number: float, unit: str, other: str) -> float:
    if unit == other:
        return number
    try:
        return float(registry().Quantity(number, unit).to(other).magnitude)
    except Exception:  # pint raises many kinds of error
        raise ValueError(f'"{number:g} {unit}" cannot be converted to "{other}"') from None


def _negative(value: Value) -> Value:
    if not isinstance(value, str):
        return -value
    quantity = split(value, UNIT)
    assert quantity  # checked before
    return f"{-quantity[0] + 0.0:.17g} {quantity[1]}"
