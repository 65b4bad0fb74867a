"""What a corrected fast model is told of a point: the setting, and the state of the fast model.

The difference of the models is smooth in the fast model's own state (how far the bore has grown,
how slack each family still is), less so in the slack rule by its words. So slack comes as a strain,
other texts as one column of 0 and 1 to each value. What says nothing is left out; all else is
scaled, alike for what the symmetries exchange.
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
"""A share of a range by which a value may miss it; an input that varies by less says nothing."""

DRIVE = "drive"
"""How far the drive has gone, as a share of all of it in the study."""

AMPLITUDE = "amplitude"
"""By how much the models may differ: in proportion to the drive from where they agree.

With dead loads or threads that were wound in they differ at rest already.
"""

STATE = (
    *(table.twist, table.stretch, table.bore_stretch),
    *(table.end_force, table.end_torque, table.thread_strain),
)
"""What of the fast model's state tells of the difference."""

SLACK = "slack"


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

    def faults(self, row: Mapping[Any, Any], set_pressure: bool) -> list[str]:
        """Return what of a row, by columns, is outside the study, a clause to each.

        The pressure counts if `set_pressure`, unless it is NaN.
        """
        found = []
        numbers = dict(self.numbers)
        if set_pressure and np.isfinite(row[PRESSURE]):
            numbers[PRESSURE] = 0.0, self.pressure
        for name, (low, high) in numbers.items():
            quantity, room = named(name), ROUND_OFF * max(high - low, abs(high))
            if not low - room <= row[name] <= high + room:
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


def described(
    rows: pandas.DataFrame, cases: Mapping[str, Case], ranges: Ranges
) -> pandas.DataFrame:
    """Return the inputs of points, unscaled, a column to each, and the amplitude.

    Parameters
    ----------
    rows
        Columns ``case``, those of the fields that vary, ``ordinal``, ``pressure_kPa`` and those of
        the fast model, ending in ``.fast``.
    cases
        The cases by their keys.
    ranges
        What the fields that vary may be.
    """
    import pandas

    from fem.continuation.load_steps import steps_of

    base = next(iter(cases.values()))
    gone = rows["ordinal"] / steps_of(base)
    if by_pressure(base):
        gone = rows[PRESSURE] / ranges.pressure
    agree = all(at_rest(case) for case in cases.values())
    columns: dict[str, Any] = {DRIVE: gone, AMPLITUDE: gone if agree else 1.0}
    for name in ranges.numbers:
        columns[name] = rows[name].to_numpy(float)
    for name, known in ranges.texts.items():
        if name.partition(".")[0] != SLACK:
            columns |= {_is(name, value): (rows[name] == value).to_numpy(float) for value in known}
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
    """Return whether the pressure is set at every step, and alone tells how far the path is."""
    return case.pressure is not None and case.move is None


def at_rest(case: Case) -> bool:
    """Return whether nothing acts on the tube at the beginning: there both models agree."""
    loaded = case.end.force or case.end.torque
    return not loaded and all(family.slack_strain >= 0 for family in case.threads)


def _is(name: str, value: str) -> str:
    """Return the column that tells whether a field has a value: ``hold bonded.A``."""
    stem, dot, family = name.partition(".")
    return f"{stem} {value.replace('.', '_')}{dot}{family}"


@dataclass(frozen=True)
class Inputs:
    """The columns that a fit is told, and the group that acts on them.

    Attributes
    ----------
    names
        The columns.
    scales
        Spread of each over the points of the fit; one value for those that may be exchanged.
    shared
        Number of the set of each column: those of a set may be exchanged.
    elements
        The group.
    """

    names: tuple[str, ...]
    scales: tuple[FiniteFloat, ...]
    shared: tuple[int, ...]
    elements: tuple[Element, ...]

    @classmethod
    def of(cls, points: pandas.DataFrame, elements: Sequence[Element]) -> Self:
        """Choose the inputs of points, whose columns are as :func:`described`."""
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
        """Return how the symmetries act on the inputs and on a quantity, by its column.

        An exchange that puts another family's figure in the place of this one says nothing of it.
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
