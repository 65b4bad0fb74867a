"""What a study varies: the fields of a case, and the values that each takes in turn."""

from __future__ import annotations

import math
from typing import Annotated, Self

import numpy as np
from pydantic import Field, PlainValidator, WithJsonSchema, model_validator

from fem.core.arrays import Array
from fem.core.schema_base import CheckedTable, invalid
from fem.core.units import UNITS, registry, split

MOST_VALUES = 10_000

UNIT = f"{UNITS}|%"
"""Units of the quantities that vary."""

RANGE = 'a range goes from one quantity to another, as from "3 mm" to "5 mm"'


def _value(value: object) -> object:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError('write a text, such as "20 deg", or a number')
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError("it must be a finite number")
    return value


Value = Annotated[
    str | int | float, PlainValidator(_value), WithJsonSchema({"type": ["string", "number"]})
]
"""As it stands in a case file: text, mostly a quantity with its unit, or a number."""


class Vary(CheckedTable):
    """Fields of the case that vary together, over a list of values or a range of quantities.

    A field is named as in the case file, a family of threads by its name: ``threads.A.angle``.
    """

    field: str = Field(min_length=1, description="Field of the case, such as threads.A.angle.")
    same: tuple[str, ...] = Field(default=(), description="Fields that take the same value.")
    opposite: tuple[str, ...] = Field(
        default=(), description="Fields that take the value of the other sign."
    )
    values: tuple[Value, ...] | None = Field(
        default=None, max_length=MOST_VALUES, description="The values."
    )
    start: Value | None = Field(
        default=None, alias="from", description="In place of the values: where a range begins."
    )
    end: Value | None = Field(default=None, alias="to", description="Where the range ends.")
    count: int | None = Field(
        default=None,
        ge=2,
        le=MOST_VALUES,
        strict=True,
        description="Number of equally spaced values; without it the table [scatter] picks them.",
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        ranged = [key for key in ("start", "end", "count") if getattr(self, key) is not None]
        names = {"start": "from", "end": "to", "count": "count"}
        if self.values == ():
            raise invalid("there must be one at least", "values")
        if self.values is not None and ranged:
            raise invalid(
                "values are given too; give either values, or from and to", names[ranged[0]]
            )
        if self.values is None:
            for key in ("start", "end"):
                value = getattr(self, key)
                if value is None:
                    raise invalid("this key is missing, or else values", names[key])
                if isinstance(value, str) and not split(value, UNIT):
                    raise invalid(RANGE, names[key])
            try:
                self._ends()
            except ValueError as error:
                raise invalid(str(error), "to") from None
        for value in (self.values or (self.start,)) if self.opposite else ():
            if isinstance(value, str) and not split(value, UNIT):
                raise invalid("only a quantity has an opposite", "opposite")
        return self

    @property
    def fields(self) -> tuple[str, ...]:
        """All its fields."""
        return (self.field, *self.same, *self.opposite)

    @property
    def size(self) -> int:
        """Number of its values, 1 if the design picks them."""
        return len(self.values) if self.values else self.count or 1

    @property
    def scattered(self) -> bool:
        """Whether it is a range whose values the design picks."""
        return self.values is None and self.count is None

    def settings(self, at: Array | None = None) -> list[dict[str, Value]]:
        """Return the value of each of its fields, for each of its values in turn.

        `at`, shape (n,), are places in the range, from 0 to 1; its own equal steps unless given.
        """
        values = self.values or self._between(np.linspace(0, 1, self.count or 2), at)
        return [
            dict.fromkeys((self.field, *self.same), value)
            | {field: _negative(value) for field in self.opposite}
            for value in values
        ]

    def _ends(self) -> tuple[float, float, str]:
        """Return both ends of the range in the unit of the first."""
        assert self.start is not None and self.end is not None
        if not isinstance(self.start, str) or not isinstance(self.end, str):
            if isinstance(self.start, str) or isinstance(self.end, str):
                raise ValueError("either both ends of a range have a unit or none")
            return float(self.start), float(self.end), ""
        start, end = split(self.start, UNIT), split(self.end, UNIT)
        assert start and end  # it was checked
        return start[0], _in_unit(*end, start[1]), start[1]

    def _between(self, steps: Array, at: Array | None) -> list[Value]:
        start, end, unit = self._ends()
        numbers = start + (end - start) * (steps if at is None else at)
        if unit:
            return [f"{number:.12g} {unit}" for number in numbers]
        whole = isinstance(self.start, int) and isinstance(self.end, int)
        return [int(n) if whole and n.is_integer() else float(n) for n in numbers]


def _in_unit(number: float, unit: str, other: str) -> float:
    if unit == other:
        return number
    try:
        return float(registry().Quantity(number, unit).to(other).magnitude)
    except Exception:  # pint raises a dozen kinds of error
        raise ValueError(f'"{number:g} {unit}" is not a multiple of "{other}"') from None


def _negative(value: Value) -> Value:
    if not isinstance(value, str):
        return -value
    quantity = split(value, UNIT)
    assert quantity  # it was checked
    return f"{-quantity[0] + 0.0:.17g} {quantity[1]}"
