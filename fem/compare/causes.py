"""What may be off on a bench, one amount to each, and what the models would then say.

Some causes change the case: slack left on the spools, the stiffness of the rubber, the zero of the
rings. Their effect is taken from the fast model: its figure with the cause less that without, at
several amounts, so that it need be in no proportion to the amount. The zero of the gauge moves
along the compared model's own curves, and the read-outs need no model at all.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise, product
from typing import Any, Literal

import numpy as np

from fem.case.case import Case, CaseError
from fem.compare.altered import Change, loosened, stiffened, turned
from fem.compare.curve import Curve
from fem.compare.match import read, solved
from fem.core.arrays import Array
from fem.measurements.bench import Bench
from fem.measurements.columns import PRESSURE

SLACKS = np.array([-2.0, -1.0, 0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0])
STIFFNESSES = np.array([-30.0, -15.0, 0.0, 15.0, 30.0])
ANGLES = np.array([-4.0, -2.0, 0.0, 2.0, 4.0])
SCALES = np.array([-50.0, 0.0, 50.0])
SHIFTS = np.linspace(-1, 1, 9)
"""Amounts that are tried; shifts of a zero as shares of the farthest."""

FARTHEST = 0.1
"""The zero of the gauge is off by at most this share of the greatest pressure."""

STEPS = 20
"""Steps of the fast model's curves that effects are read from."""

type Kind = Literal["slack", "stiffness", "angle", "gauge", "scale", "zero"]


@dataclass(frozen=True)
class Cause:
    """Something that may be off.

    Attributes
    ----------
    kind
        Slack beyond the rule (%), stiffness of the rubber beyond what is stated (%), helix angle
        beyond the stated one (deg), pressure in the tube beyond what the gauge says; scale (%) or
        zero of a read-out.
    unit
        Unit of the amount.
    of
        The family of threads, or the measured quantity; empty for all families.
    """

    kind: Kind
    unit: str
    of: str = ""


@dataclass(frozen=True)
class Effect:
    """What a cause does to each figure.

    Attributes
    ----------
    cause
        The cause.
    amounts
        Amounts that were tried, zero among them, shape (amounts,).
    changes
        Change of each figure in the unit of its column, shape (amounts, rows, measures); NaN where
        there is no figure.
    by_fast
        Whether it comes from the fast model.
    alter
        How the case changes by an amount, if it does.
    """

    cause: Cause
    amounts: Array
    changes: Array
    by_fast: bool = True
    alter: Change | None = None

    def at(self, amount: float) -> Array:
        """Return the changes at an amount between those that were tried, (rows, measures).

        Where there is no figure nothing changes.
        """
        return np.asarray(self._through(amount))

    @cached_property
    def _through(self) -> Callable[[float], Array]:
        from scipy.interpolate import PchipInterpolator

        known = np.where(np.isnan(self.changes), 0.0, self.changes)
        return PchipInterpolator(self.amounts, known, axis=0)

    def through(self, amount: float, change: Array, slope: Array) -> Effect:
        """Return the effect mended so that at `amount` it is `change`, shape (rows, measures).

        `slope` is what its changes were multiplied by. What was lacking is added in proportion to
        the amount; where `change` is NaN nothing is.
        """
        lacking = change - slope * self.at(amount)
        added = np.where(np.isnan(lacking), 0.0, lacking) / amount
        changes = slope * self.changes + self.amounts[:, None, None] * added
        return replace(self, changes=changes, by_fast=False)


type Predicted = tuple[Array, list[Effect]]
"""What the fast model says at the measurements, shape (rows, measures), NaN where it does not
reach; and the effect of each cause."""


def predict(bench: Bench, report: Callable[[int, int], None] | None = None) -> Predicted:
    """Return what the fast model says of the settings and pressures of a bench.

    `report` is told the causes that are done and their number.
    """
    top = (1 + FARTHEST) * float(bench.table[PRESSURE.column].max())
    watched = {key: _watched(case, top) for key, case in bench.cases.items()}
    curves = _solve(watched)
    plain = read(bench, curves)
    found = []
    varied = list(_of_the_case(next(iter(watched.values()))))
    for number, (cause, amounts, alter) in enumerate(varied):
        cases = {}
        for (n, amount), (key, case) in product(enumerate(amounts), watched.items()):
            with suppress(CaseError):  # such a tube cannot be made, and has no curve
                cases[n, key] = alter(case, amount)
        altered = _solve(cases)
        there = [
            read(bench, {key: altered[n, key] for key in watched if (n, key) in altered})
            for n in range(len(amounts))
        ]
        found.append(Effect(cause, amounts, _changes(amounts, np.array(there)), alter=alter))
        if report:
            report(number + 1, len(varied))
    return plain, [*found, _gauge(bench, curves)]


def _of_the_case(case: Case) -> Iterator[tuple[Cause, Array, Change]]:
    """Yield the causes that change the case, and how."""
    yield Cause("stiffness", "%"), STIFFNESSES, stiffened
    names = [family.name for family in case.threads]
    for one in [*([""] if names else []), *(names if len(names) > 1 else [])]:
        chosen = [one] if one else names
        yield Cause("slack", "%", one), SLACKS, loosened(chosen)
        yield Cause("angle", "deg", one), ANGLES, turned(chosen)


def _changes(amounts: Array, there: Array, guess: Array | None = None) -> Array:
    """Return what changes, shape (amounts, rows, measures); where a curve ends, as far as it goes.

    A row that the model does not reach at an amount is given the change at the nearest one that it
    does reach, and what `guess`, of the same shape, changes by from there.
    """
    changes = there - there[amounts == 0]
    further = np.zeros_like(changes) if guess is None else guess
    for way in (np.flatnonzero(amounts >= 0), np.flatnonzero(amounts <= 0)[::-1]):
        for before, here in pairwise(way):
            beyond = changes[before] + further[here] - further[before]
            changes[here] = np.where(np.isnan(changes[here]), beyond, changes[here])
    return changes


def _watched(case: Case, top: float) -> Case:
    """Return the case without a move, its pressure raised to `top` (kPa) if that drives it."""
    changes: dict[str, Any] = {"move": None}
    if case.pressure and top > 0:
        changes["pressure"] = {"end": f"{top} kPa", "steps": STEPS}
    return case.changed(**changes)


def _solve[Key](cases: Mapping[Key, Case]) -> dict[Key, Curve]:
    """Return the fast model's curves, by the keys that the cases have here."""
    return dict(zip(cases, solved([*cases.values()], "fast", "coarse"), strict=True))


def _gauge(bench: Bench, curves: Mapping[str, Curve]) -> Effect:
    """Return the effect of a wrong zero of the gauge."""
    amounts = FARTHEST * float(bench.table[PRESSURE.column].abs().max()) * SHIFTS
    there = np.array([read(bench, curves, amount) for amount in amounts])
    return Effect(Cause("gauge", PRESSURE.unit), amounts, _changes(amounts, there))


def gauge(bench: Bench, curves: Mapping[str, Curve], predicted: Effect, slope: Array) -> Effect:
    """Return the effect of a wrong zero of the gauge, read off the compared model's own curves.

    Parameters
    ----------
    bench
        What was measured.
    curves
        The compared model's curves, by the keys of the cases.
    predicted
        The same effect by the fast model. It goes on where the curves end: those of a study need
        not go beyond what was measured.
    slope
        What the fast model's changes are multiplied by, shape (measures,).
    """
    there = np.array([read(bench, curves, amount) for amount in predicted.amounts])
    changes = _changes(predicted.amounts, there, slope * predicted.changes)
    return replace(predicted, changes=changes, by_fast=False)


def read_outs(bench: Bench, said: Array) -> Iterator[Effect]:
    """Yield the effects of a wrong scale and of a wrong zero of the read-out of each quantity.

    `said` is what the compared model says, shape (rows, measures).
    """
    for number, measure in enumerate(bench.measures):
        own = np.arange(len(bench.measures)) == number
        scales = SCALES[:, None, None] / 100 * said * own
        yield Effect(Cause("scale", "%", measure.name), SCALES, scales, by_fast=False)
        shifts = SHIFTS * (float(bench.table[measure.column].abs().max()) or 1.0)
        zeros = shifts[:, None, None] * np.ones_like(said) * own
        cause = Cause("zero", measure.unit, measure.name)
        yield Effect(cause, shifts, zeros, by_fast=False)
