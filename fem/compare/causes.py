"""Possible causes of differences between measurements and models, and their effects.

Some causes change the case: slack left on the spools, the stiffness of the rubber, the zero of the
helix angles. Their effect is computed by the fast model at several amounts, as the difference from
its value without the cause, so it need not be proportional to the amount. The effect of a zero
error of the gauge is read from the curves of the compared model. Errors of the readings need no
model.
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
from fem.compare.altered import Change, with_added_angle, with_added_slack, with_stiffer_rubber
from fem.compare.curve import Curve
from fem.compare.match import solve_curves, values_at_measurements
from fem.core.arrays import Array
from fem.measurements.bench import Bench
from fem.measurements.columns import PRESSURE

SLACKS = np.array([-2.0, -1.0, 0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0])
STIFFNESSES = np.array([-30.0, -15.0, 0.0, 15.0, 30.0])
ANGLES = np.array([-4.0, -2.0, 0.0, 2.0, 4.0])
SCALES = np.array([-50.0, 0.0, 50.0])
SHIFTS = np.linspace(-1, 1, 9)
"""Amounts at which effects are computed; shifts of a zero as shares of the greatest."""

MAX_GAUGE_SHIFT = 0.1
"""Greatest zero error of the gauge, as a share of the greatest pressure."""

STEPS = 20
"""Number of steps of the fast model's curves for the effects."""

type Kind = Literal["slack", "stiffness", "angle", "gauge", "scale", "zero"]


@dataclass(frozen=True)
class Cause:
    """A possible cause of differences.

    Attributes
    ----------
    kind
        Slack in addition to the rule (%), stiffness of the rubber above the stated one (%), helix
        angle above the stated one (deg), pressure in the tube above the gauge reading; error of
        the scale (%) or of the zero of a reading.
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
    """The effect of a cause on each value.

    Attributes
    ----------
    cause
        The cause.
    amounts
        Amounts at which it was computed, including zero, shape (amounts,).
    changes
        Change of each value in the unit of its column, shape (amounts, rows, measures); NaN if
        there is no value.
    by_fast
        Whether it was computed by the fast model.
    change_case
        Changes the case by an amount; None for causes that do not change the case.
    """

    cause: Cause
    amounts: Array
    changes: Array
    by_fast: bool = True
    change_case: Change | None = None

    def at(self, amount: float) -> Array:
        """Return the changes at an amount, interpolated, shape (rows, measures).

        They are zero where there is no value.
        """
        return np.asarray(self._interpolant(amount))

    @cached_property
    def _interpolant(self) -> Callable[[float], Array]:
        from scipy.interpolate import PchipInterpolator

        known = np.where(np.isnan(self.changes), 0.0, self.changes)
        return PchipInterpolator(self.amounts, known, axis=0)

    def corrected(self, amount: float, change: Array, slope: Array) -> Effect:
        """Return the effect, corrected to be `change`, shape (rows, measures), at `amount`.

        `slope` is the factor of the changes so far. The difference is added in proportion to the
        amount; nothing is added where `change` is NaN.
        """
        difference = change - slope * self.at(amount)
        added = np.where(np.isnan(difference), 0.0, difference) / amount
        changes = slope * self.changes + self.amounts[:, None, None] * added
        return replace(self, changes=changes, by_fast=False)


type Predicted = tuple[Array, list[Effect]]
"""Values of the fast model at the measurements, shape (rows, measures), NaN if it does not reach
them; and the effect of each cause."""


def predict(bench: Bench, report: Callable[[int, int], None] | None = None) -> Predicted:
    """Return the values of the fast model at the measurements, and the effects of the causes.

    `report` is called with the number of causes done and their total number.
    """
    top = (1 + MAX_GAUGE_SHIFT) * float(bench.table[PRESSURE.column].max())
    cases_to_top = {key: _driven_to(case, top) for key, case in bench.cases.items()}
    curves = _solve(cases_to_top)
    fast_values = values_at_measurements(bench, curves)
    found = []
    varied = list(_case_causes(next(iter(cases_to_top.values()))))
    for number, (cause, amounts, change) in enumerate(varied):
        cases = {}
        for (n, amount), (key, case) in product(enumerate(amounts), cases_to_top.items()):
            with suppress(CaseError):  # an invalid case has no curve
                cases[n, key] = change(case, amount)
        altered = _solve(cases)
        values = [
            values_at_measurements(
                bench, {key: altered[n, key] for key in cases_to_top if (n, key) in altered}
            )
            for n in range(len(amounts))
        ]
        found.append(
            Effect(cause, amounts, _changes(amounts, np.array(values)), change_case=change)
        )
        if report:
            report(number + 1, len(varied))
    return fast_values, [*found, _gauge(bench, curves)]


def _case_causes(case: Case) -> Iterator[tuple[Cause, Array, Change]]:
    """Yield the causes that change the case, their amounts and changes."""
    yield Cause("stiffness", "%"), STIFFNESSES, with_stiffer_rubber
    names = [family.name for family in case.threads]
    for one in [*([""] if names else []), *(names if len(names) > 1 else [])]:
        chosen = [one] if one else names
        yield Cause("slack", "%", one), SLACKS, with_added_slack(chosen)
        yield Cause("angle", "deg", one), ANGLES, with_added_angle(chosen)


def _changes(amounts: Array, values: Array, guess: Array | None = None) -> Array:
    """Return the changes of values, shape (amounts, rows, measures), from those at amount zero.

    If the model does not reach a row at an amount, the change is that at the nearest amount that it
    does reach, plus the difference of `guess`, of the same shape, between the two.
    """
    changes = values - values[amounts == 0]
    further = np.zeros_like(changes) if guess is None else guess
    for indices in (np.flatnonzero(amounts >= 0), np.flatnonzero(amounts <= 0)[::-1]):
        for before, here in pairwise(indices):
            beyond = changes[before] + further[here] - further[before]
            changes[here] = np.where(np.isnan(changes[here]), beyond, changes[here])
    return changes


def _driven_to(case: Case, top: float) -> Case:
    """Return the case without a move, driven to the pressure `top` (kPa) if pressure drives it."""
    changes: dict[str, Any] = {"move": None}
    if case.pressure and top > 0:
        changes["pressure"] = {"end": f"{top} kPa", "steps": STEPS}
    return case.changed(**changes)


def _solve[Key](cases: Mapping[Key, Case]) -> dict[Key, Curve]:
    """Return the curves of the fast model by the keys of `cases`."""
    return dict(zip(cases, solve_curves([*cases.values()], "fast", "coarse"), strict=True))


def _gauge(bench: Bench, curves: Mapping[str, Curve]) -> Effect:
    """Return the effect of a zero error of the gauge by the fast model."""
    amounts = MAX_GAUGE_SHIFT * float(bench.table[PRESSURE.column].abs().max()) * SHIFTS
    values = np.array([values_at_measurements(bench, curves, amount) for amount in amounts])
    return Effect(Cause("gauge", PRESSURE.unit), amounts, _changes(amounts, values))


def gauge_effect(
    bench: Bench, curves: Mapping[str, Curve], predicted: Effect, slope: Array
) -> Effect:
    """Return the effect of a zero error of the gauge, from the curves of the compared model.

    Parameters
    ----------
    bench
        The measurements.
    curves
        The curves of the compared model, by the keys of the cases.
    predicted
        The same effect by the fast model. It is used beyond the ends of the curves, because the
        curves of a study may end at the greatest measured pressure.
    slope
        Factor of the changes of the fast model, shape (measures,).
    """
    values = np.array(
        [values_at_measurements(bench, curves, amount) for amount in predicted.amounts]
    )
    changes = _changes(predicted.amounts, values, slope * predicted.changes)
    return replace(predicted, changes=changes, by_fast=False)


def reading_errors(bench: Bench, values: Array) -> Iterator[Effect]:
    """Yield the effects of errors of scale and of zero of the reading of each quantity.

    `values` are those of the compared model, shape (rows, measures).
    """
    for number, measure in enumerate(bench.measures):
        own = np.arange(len(bench.measures)) == number
        scales = SCALES[:, None, None] / 100 * values * own
        yield Effect(Cause("scale", "%", measure.name), SCALES, scales, by_fast=False)
        shifts = SHIFTS * (float(bench.table[measure.column].abs().max()) or 1.0)
        zeros = shifts[:, None, None] * np.ones_like(values) * own
        cause = Cause("zero", measure.unit, measure.name)
        yield Effect(cause, shifts, zeros, by_fast=False)
