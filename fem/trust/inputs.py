"""Inputs of a corrected fast model: the setting, and the state of the fast model.

The difference between the models is a smooth function of the state of the fast model (bore stretch,
strain of each family), and less so of the text of a slack rule. So slack is given as a strain, and
other texts as one column of 0 and 1 per value. Constant inputs are omitted; the others are scaled,
equally for those that the symmetries exchange.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from pydantic import FiniteFloat

from fem.core.arrays import Array
from fem.quantities import table
from fem.quantities.column import find, named
from fem.trust.kernel import Symmetry
from fem.trust.pairs import FAST, PRESSURE
from fem.trust.symmetry import Element

if TYPE_CHECKING:
    import pandas

    from fem.case.case import Case

ROUND_OFF = 1e-9
"""Relative tolerance of a range; an input that varies by less is constant."""

DRIVE = "drive"
"""Value of the drive, as a share of the greatest in the study."""

AMPLITUDE = "amplitude"
"""Scale of the difference: proportional to the drive if the models agree at rest.

With dead loads or prestressed threads they differ at rest.
"""

STATE = (
    *(table.twist, table.stretch, table.bore_stretch),
    *(table.end_force, table.end_torque, table.thread_strain),
)
"""Quantities of the state of the fast model that are inputs."""

SLACK = "slack"


@dataclass(frozen=True)
class Ranges:
    """Ranges of the fields that vary, by their columns.

    Attributes
    ----------
    numbers
        Least and greatest value of each number.
    texts
        All values of each text.
    pressure
        Greatest pressure of the FE model (kPa).
    """

    numbers: dict[str, tuple[float, float]]
    texts: dict[str, tuple[str, ...]]
    pressure: float

    @classmethod
    def of(cls, rows: pandas.DataFrame, varied: list[str]) -> Self:
        """Return the ranges of points with the columns of :func:`fem.trust.pairs.pairs`."""
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
        """Columns of the fields."""
        return {*self.numbers, *self.texts}

    def outside(self, row: Mapping[Any, Any], set_pressure: bool) -> list[str]:
        """Return the values of a row that are outside the ranges, a text for each.

        The pressure is checked if `set_pressure`, unless it is NaN.
        """
        found = []
        numbers = dict(self.numbers)
        if set_pressure and np.isfinite(row[PRESSURE]):
            numbers[PRESSURE] = 0.0, self.pressure
        for name, (low, high) in numbers.items():
            quantity, margin = named(name), ROUND_OFF * max(high - low, abs(high))
            if not low - margin <= row[name] <= high + margin:
                unit = f" {quantity.unit}".rstrip()
                found.append(
                    f"{quantity.name} {row[name]:.6g}{unit}: the study has "
                    f"{low:.6g} to {high:.6g}{unit}"
                )
        for name, values in self.texts.items():
            if row[name] not in values:
                allowed = " and ".join(f'"{value}"' for value in values)
                found.append(f'{name} "{row[name]}": the study has {allowed}')
        return found


def input_table(
    rows: pandas.DataFrame, cases: Mapping[str, Case], ranges: Ranges
) -> pandas.DataFrame:
    """Return the unscaled inputs of points, one per column, and the amplitude.

    Parameters
    ----------
    rows
        Columns ``case``, those of the fields that vary, ``ordinal``, ``pressure_kPa`` and those of
        the fast model, with the suffix ``.fast``.
    cases
        The cases by their keys.
    ranges
        Ranges of the fields that vary.
    """
    import pandas

    from fem.continuation.load_steps import steps_of

    base = next(iter(cases.values()))
    progress = rows["ordinal"] / steps_of(base)
    if by_pressure(base):
        progress = rows[PRESSURE] / ranges.pressure
    agree = all(unloaded_at_rest(case) for case in cases.values())
    columns: dict[str, Any] = {DRIVE: progress, AMPLITUDE: progress if agree else 1.0}
    for name in ranges.numbers:
        columns[name] = rows[name].to_numpy(float)
    for name, known in ranges.texts.items():
        if name.partition(".")[0] != SLACK:
            columns |= {
                _indicator(name, value): (rows[name] == value).to_numpy(float) for value in known
            }
    for number, family in enumerate(base.threads):
        strains = {key: case.threads[number].slack_strain for key, case in cases.items()}
        columns[f"slack_strain.{family.name}"] = rows["case"].map(strains).to_numpy(float)
    for name in rows.columns:
        own = name.removesuffix(FAST)
        measure = find(own) if own != name and own not in columns else None
        if measure and measure.quantity in STATE:
            values = rows[name].to_numpy(float)
            columns[own] = np.log(values) if measure.quantity is table.bore_stretch else values
    return pandas.DataFrame(columns, index=rows.index)


def by_pressure(case: Case) -> bool:
    """Return whether the pressure is prescribed at every step and nothing else drives the tube."""
    return case.pressure is not None and case.move is None


def unloaded_at_rest(case: Case) -> bool:
    """Return whether no load acts on the tube at rest, so that both models agree."""
    end_loads = case.end.force or case.end.torque
    return not end_loads and all(family.slack_strain >= 0 for family in case.threads)


def _indicator(name: str, value: str) -> str:
    """Return the name of the column that is 1 if a field has a value: ``hold bonded.A``."""
    stem, dot, family = name.partition(".")
    return f"{stem} {value.replace('.', '_')}{dot}{family}"


@dataclass(frozen=True)
class Inputs:
    """The input columns of a fit, and the symmetry group that acts on them.

    Attributes
    ----------
    names
        The columns.
    scales
        Standard deviation of each over the points of the fit; equal for exchangeable columns.
    shared
        Number of the set of each column; the columns of a set are exchangeable.
    elements
        The group.
    """

    names: tuple[str, ...]
    scales: tuple[FiniteFloat, ...]
    shared: tuple[int, ...]
    elements: tuple[Element, ...]

    @classmethod
    def of(cls, points: pandas.DataFrame, elements: Sequence[Element]) -> Self:
        """Choose the inputs from a table of :func:`input_table`."""
        orbits = list(
            dict.fromkeys(
                tuple(sorted({element.column(name) for element in elements}))
                for name in points.columns.drop(AMPLITUDE)
            )
        )
        names: list[str] = []
        scales: list[float] = []
        shared: list[int] = []
        for orbit in orbits:
            values = points[list(orbit)].to_numpy(float)
            spread = float(values.std(axis=0).max())
            if spread > ROUND_OFF * max(1.0, float(abs(values).max())):
                names += orbit
                scales += [spread] * len(orbit)
                shared += [len(set(shared))] * len(orbit)
        return cls(tuple(names), tuple(scales), tuple(shared), tuple(elements))

    def matrix(self, points: pandas.DataFrame) -> Array:
        """Return the scaled inputs and the amplitude, shape (points, inputs + 1)."""
        scaled = points[list(self.names)].to_numpy(float) / np.array(self.scales)
        return np.c_[scaled, points[AMPLITUDE].to_numpy(float)]

    def group(self, column: str) -> tuple[Symmetry, ...]:
        """Return the action of the symmetries on the inputs and on a quantity, by its column.

        Exchanges that replace the quantity by that of another family are omitted.
        """
        return tuple(
            Symmetry(
                order=tuple(self.names.index(element.column(name)) for name in self.names),
                signs=tuple(element.sign(name) for name in self.names),
                character=element.sign(column),
            )
            for element in self.elements
            if element.column(column) == column
        )
