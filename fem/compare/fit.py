r"""Least-squares fit of one cause to the measurements: amount, interval, residuals.

The values y of the compared model, changed by a cause of the amount a, are compared with the
measurements b:

.. math:: \chi^2(a) = \sum_i \Big(\frac{y_i + k_i\,\Delta_i(a) - b_i}{\sigma_i}\Big)^2.

The effect Delta is computed by the fast model. Because the end plates restrain the tube, it is
multiplied by k, the slope of y over the values of the fast model through the origin, one for each
quantity; effects of reading errors are not scaled. sigma combines in quadrature the stated standard
deviation (the RMS error of the quantity if none is stated) and the error of the model itself
(:data:`MODEL_ERROR`).

With n values of unknown common variance and p fitted parameters, zero or one,

.. math:: \mathrm{BIC} = n \ln(\chi^2/n) + p \ln n

(G. Schwarz, Ann. Stat. 6, 461, 1978; from memory). In case model and measurements agree exactly,
sigma is at least :data:`MIN_SIGMA` of the greatest value of its quantity, and chi-squared at least
n times the square of :data:`MIN_RESIDUAL`.

The interval combines two parts in quadrature. One is that of the linear fit at the best amount,
Student's t at 95 %: its variance is that of the residuals summed over each setting, whose errors
are correlated (K.-Y. Liang and S. L. Zeger, Biometrika 73, 13, 1986; from memory), or that of
independent residuals if it is greater. The other is the greatest change of the amount when it is
fitted to a single quantity that determines it, taken as one standard deviation, minus the part that
random errors explain: if the model has errors, its quantities disagree.

See also eqs. (68) and (69) of docs/theory.md.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from fem.compare.causes import Cause, Effect
from fem.core.arrays import Array, Index, Mask
from fem.quantities.column import BAND, Measure

if TYPE_CHECKING:
    import pandas

MODEL_ERROR = {"fe": 0.01, "fast": 0.15}
"""Relative error of the models themselves.

On the wrist the coarse mesh differs from the standard one by up to 0.7 %, and the fast model, which
neglects the end plates, from the FE model by 14 %.
"""

MIN_SIGMA = 1e-6
"""Least standard deviation, relative to the greatest value of the quantity."""

MIN_RESIDUAL = 1e-3
"""Least RMS of the residuals, relative to the standard deviations."""


@dataclass(frozen=True)
class Scope:
    """The rows in which a cause acts: all, or those with one value of a text setting."""

    rule: str = ""
    value: str = ""


@dataclass(frozen=True)
class Fit:
    """The fit of a cause to the measurements.

    Attributes
    ----------
    cause, scope
        The cause, and the rows in which it acts.
    amount, plus_minus
        The fitted amount, and half of its 95 % interval, in the unit of the cause.
    at_bound
        Whether the amount is at the end of its range.
    bic
        Bayesian information criterion; lower is better.
    explained
        Share of chi-squared in its rows that it explains.
    rms
        RMS error of each measured quantity in its rows, without and with the cause, by the name of
        the quantity.
    """

    cause: Cause
    scope: Scope
    amount: float
    plus_minus: float
    at_bound: bool
    bic: float
    explained: float
    rms: dict[str, tuple[float, float]]


@dataclass(frozen=True)
class Evidence:
    """Measurements and the values of one model, where the fast model has values as well.

    Attributes
    ----------
    model
        The model.
    rows
        Its rows of the comparison.
    measures
        The measured quantities.
    measured, values
        Measurements, and values of the model, shape (rows, measures).
    fast_values
        Values of the fast model, shape (rows, measures).
    """

    model: str
    rows: pandas.DataFrame
    measures: list[Measure]
    measured: Array
    values: Array
    fast_values: Array

    @cached_property
    def used(self) -> Mask:
        """Which values are used, shape (rows, measures)."""
        return np.isfinite(self.values) & np.isfinite(self.fast_values)

    @cached_property
    def sigma(self) -> Array:
        """Standard deviations, shape (rows, measures)."""
        square = np.sum((self.values - self.measured) ** 2, axis=0, where=self.used)
        rms_errors = np.sqrt(square / np.maximum(self.used.sum(axis=0), 1))
        stated = [
            self.rows[m.std] if m.std in self.rows else np.full(len(self.rows), rms)
            for m, rms in zip(self.measures, rms_errors, strict=True)
        ]
        combined = np.hypot(
            np.array(stated, dtype=float).T, MODEL_ERROR[self.model] * np.abs(self.values)
        )
        greatest = np.max(np.abs(self.measured), axis=0)
        return np.maximum(combined, MIN_SIGMA * np.where(greatest > 0, greatest, 1.0))

    @cached_property
    def slope(self) -> Array:
        """Factor of the effects of the fast model, shape (measures,)."""
        products = np.sum(self.values * self.fast_values, axis=0, where=self.used)
        square = np.sum(self.fast_values**2, axis=0, where=self.used)
        return np.divide(products, square, out=np.ones_like(products), where=square > 0)

    @property
    def points(self) -> int:
        """Number of values."""
        return int(self.used.sum())

    @cached_property
    def setting(self) -> Index:
        """Number of the setting of each row, shape (rows,)."""
        return self.rows.groupby("case").ngroup().to_numpy()

    @property
    def settings(self) -> int:
        """Number of settings with values."""
        return len(np.unique(self.setting[self.used.any(axis=1)]))

    @property
    def bic(self) -> float:
        """The criterion without a cause."""
        return self._bic(self._weighted(np.zeros_like(self.values)), 0)

    def inside(self, scope: Scope) -> Mask:
        """Return which rows are in a scope, shape (rows,)."""
        if not scope.rule:
            return np.ones(len(self.rows), dtype=bool)
        return (self.rows[scope.rule] == scope.value).to_numpy()

    def fit(self, effect: Effect, scope: Scope) -> Fit:
        """Fit a cause in the rows of a scope."""
        inside = self.inside(scope)
        amount, after, random = self._best(effect, inside)
        disagreement = [
            (BAND * (single - amount)) ** 2 - half**2
            for single, _, half in (part._best(effect, inside) for part in self._single_quantities)
            if half < abs(amount)
        ]
        before = self._weighted(np.zeros_like(self.values))
        without, with_cause = (self._square(r * inside[:, None]) for r in (before, after))
        ends = effect.amounts[[0, -1]]
        return Fit(
            cause=effect.cause,
            scope=scope,
            amount=amount,
            plus_minus=float(np.sqrt(random**2 + max([0.0, *disagreement]))),
            at_bound=bool(np.isclose(amount, ends, atol=1e-3 * np.ptp(ends)).any()),
            bic=self._bic(after, 1),
            explained=1 - with_cause / without if without else 0.0,
            rms=self._rms(before, after, inside),
        )

    @cached_property
    def _single_quantities(self) -> list[Evidence]:
        """The evidence of each single quantity, if there are several."""
        if len(self.measures) < 2:
            return []
        own = np.eye(len(self.measures), dtype=bool)
        return [replace(self, values=np.where(one, self.values, np.nan)) for one in own]

    def _best(self, effect: Effect, inside: Mask) -> tuple[float, Array, float]:
        """Return the best amount, the weighted residuals, and half of the random interval.

        The interval is infinite if the values do not determine the amount.
        """
        from scipy.optimize import least_squares

        scale = self.slope if effect.by_fast else 1.0

        def residual(x: Array) -> Array:
            return self._weighted(scale * effect.at(float(x[0])) * inside[:, None]).ravel()

        def merit(amount: float) -> tuple[float, float]:
            return float(np.sum(residual(np.array([amount])) ** 2)), abs(amount)

        low, high = effect.amounts[[0, -1]]
        inset = 0.01 * (high - low)  # the search cannot start at a bound
        start = np.clip(min(effect.amounts, key=merit), low + inset, high - inset)
        result = least_squares(residual, [start], bounds=(low, high), x_scale=high - low)
        gradient, after = (
            np.asarray(each).reshape(inside.size, -1) for each in (result.jac, result.fun)
        )
        return float(result.x[0]), after, self._half_interval(gradient, after)

    def _weighted(self, change: Array) -> Array:
        """Return the weighted residuals of the changed values, shape (rows, measures).

        They are 0 where a value is not used.
        """
        return np.where(self.used, (self.values + change - self.measured) / self.sigma, 0.0)

    def _bic(self, residual: Array, fitted: int) -> float:
        n = self.points
        return float(
            n * np.log(max(self._square(residual) / n, MIN_RESIDUAL**2)) + fitted * np.log(n)
        )

    def _square(self, residual: Array) -> float:
        """Return the sum of squares over the used values."""
        return float(residual[self.used] @ residual[self.used])

    def _half_interval(self, gradient: Array, residual: Array) -> float:
        """Return half of the 95 % interval by random errors, from the gradient of the residuals."""
        from scipy.stats import t

        square, groups = self._square(gradient), self.settings
        if not square or groups < 2:
            return np.inf
        sums = np.bincount(self.setting, np.sum(gradient * residual, axis=1))
        correlated = np.sqrt(groups / (groups - 1) * float(sums @ sums)) / square
        independent = np.sqrt(self._square(residual) / (self.points - 1) / square)
        return float(
            max(t.ppf(0.975, groups - 1) * correlated, t.ppf(0.975, self.points - 1) * independent)
        )

    def _rms(self, before: Array, after: Array, inside: Mask) -> dict[str, tuple[float, float]]:
        """Return the RMS error of each quantity in the rows `inside`, before and after the fit."""
        found = {}
        for number, measure in enumerate(self.measures):
            chosen = self.used[:, number] & inside
            if chosen.any():
                errors = (residual * self.sigma for residual in (before, after))
                without, with_cause = (
                    float(np.sqrt(np.mean(e[chosen, number] ** 2))) for e in errors
                )
                found[measure.name] = without, with_cause
        return found
