"""What the fields that vary may be in a study; what is outside is told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Self

from fem.quantities import table
from fem.quantities.column import named
from fem.trust.pairs import PRESSURE

if TYPE_CHECKING:
    import pandas

ROUND_OFF = 1e-9
"""A share of a range by which a value may miss it."""


@dataclass(frozen=True)
class Ranges:
    """The fields that vary, by their columns.

    Attributes
    ----------
    numbers
        Least and greatest value.
    texts
        All values of a field that is no number.
    pressure
        Greatest pressure of the FE model (kPa).
    """

    numbers: dict[str, tuple[float, float]]
    texts: dict[str, tuple[str, ...]]
    pressure: float

    @classmethod
    def of(cls, rows: pandas.DataFrame, varied: list[str]) -> Self:
        """Return the ranges of points; columns as of :func:`fem.trust.pairs.pairs`."""
        numbers = [name for name in varied if rows[name].dtype.kind in "iuf"]
        return cls(
            numbers={name: (float(rows[name].min()), float(rows[name].max())) for name in numbers},
            texts={
                name: tuple(sorted(map(str, rows[name].unique())))
                for name in varied
                if name not in numbers
            },
            pressure=float(rows[PRESSURE].max()),
        )

    @property
    def fields(self) -> set[str]:
        """The columns."""
        return {*self.numbers, *self.texts}

    def faults(self, setting: Mapping[Any, Any]) -> list[str]:
        """Return what of a setting, by columns, is outside the study, a clause to each."""
        found = []
        for name, (low, high) in self.numbers.items():
            quantity, room = named(name), ROUND_OFF * max(high - low, abs(high))
            if not low - room <= setting[name] <= high + room:
                unit = f" {quantity.unit}".rstrip()
                found.append(
                    f"{quantity.name} {setting[name]:.6g}{unit}: the study has "
                    f"{low:.6g} to {high:.6g}{unit}"
                )
        for name, values in self.texts.items():
            if setting[name] not in values:
                allowed = " and ".join(f'"{value}"' for value in values)
                found.append(f'{name} "{setting[name]}": the study has {allowed}')
        return found

    def pressure_faults(self, pressure: float) -> list[str]:
        """Return what is to be said of a pressure (kPa) that the study does not reach."""
        if 0 <= pressure <= self.pressure * (1 + ROUND_OFF):
            return []
        unit = table.pressure.unit
        return [f"pressure {pressure:.6g} {unit}: the study has 0 to {self.pressure:.6g} {unit}"]
