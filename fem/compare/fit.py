r"""One cause fitted to the bench by least squares: its amount, its interval, what is left.

The compared model's figures y, changed by a cause of the amount a, are held against the bench b:

.. math:: \chi^2(a) = \sum_i \Big(\frac{y_i + k_i\,\Delta_i(a) - b_i}{\sigma_i}\Big)^2.

The effect Delta comes from the fast model. As the end plates hold a real tube back, it is scaled by
k, the slope of y over the fast model's figures through the origin, one to each quantity; a
read-out's effect is taken as it is. sigma is the stated standard deviation (where none is stated,
the RMS error of the quantity) and the error that the model itself may have
(:data:`MODEL_ERROR`), combined in quadrature.

With n figures of unknown common scale and p fitted numbers, none or one,

.. math:: \mathrm{BIC} = n \ln(\chi^2/n) + p \ln n

(G. Schwarz, Ann. Stat. 6, 461, 1978; from memory). Where model and bench agree exactly there is
nothing to explain: sigma is at least :data:`FINEST` of the greatest figure of its quantity, and
chi-squared at least n times the square of :data:`NIL`.

The interval has two parts, combined in quadrature. One is that of the linear fit at the best
amount, Student's t at 95 %: its variance by the residuals summed over each setting, whose errors go
together (K.-Y. Liang and S. L. Zeger, Biometrika 73, 13, 1986; from memory), or by the residuals
one by one if that is wider. The other is the farthest that the amount moves when it is fitted to
one quantity alone, among those that tell it at all, taken for one standard deviation, less what
chance accounts for: where the model is off, its quantities disagree.

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
"""Share of a figure that a model may be off by itself.

On the wrist the coarse mesh differs from the standard one by up to 0.7 %, and the fast model, which
knows no end plates, from the FE model by 14 %.
"""

FINEST = 1e-6
"""No figure is known better than this share of the greatest of its quantity."""

NIL = 1e-3
"""A mean residual of this share of the standard deviations is as good as none."""


@dataclass(frozen=True)
class Scope:
    """The rows in which a cause acts: all, or those with one value of a text setting."""

    rule: str = ""
    value: str = ""


@dataclass(frozen=True)
class Fit:
    """A cause fitted to the bench.

    Attributes
    ----------
    cause, scope
        What is off, in which rows.
    amount, plus_minus
        How much, and half of its 95 % interval, in the unit of the cause.
    at_bound
        Whether the best amount is the farthest that was tried.
    bic
        Bayesian information criterion; the smaller, the better.
    explained
        Share of chi-squared that it removes in its rows.
    rms
        RMS error of each measured quantity in its rows, without it and with it, by the name of the
        quantity.
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
    """Bench and one model side by side, as far as the fast model reaches too.

    Attributes
    ----------
    model
        The model.
    rows
        Its rows.
    measures
        The measured quantities.
    bench, said
        Measured, and what the model says, shape (rows, measures).
    plain
        What the fast model says, shape (rows, measures).
    """

    model: str
    rows: pandas.DataFrame
    measures: list[Measure]
    bench: Array
    said: Array
    plain: Array

    @cached_property
    def use(self) -> Mask:
        """Which figures count, shape (rows, measures)."""
        return np.isfinite(self.said) & np.isfinite(self.plain)

    @cached_property
    def sigma(self) -> Array:
        """Standard deviations, shape (rows, measures)."""
        square = np.sum((self.said - self.bench) ** 2, axis=0, where=self.use)
        off = np.sqrt(square / np.maximum(self.use.sum(axis=0), 1))
        stated = [
            self.rows[m.std] if m.std in self.rows else np.full(len(self.rows), rms)
            for m, rms in zip(self.measures, off, strict=True)
        ]
        own = np.hypot(np.array(stated, dtype=float).T, MODEL_ERROR[self.model] * np.abs(self.said))
        greatest = np.max(np.abs(self.bench), axis=0)
        return np.maximum(own, FINEST * np.where(greatest > 0, greatest, 1.0))

    @cached_property
    def slope(self) -> Array:
        """What the fast model's effects are multiplied by, shape (measures,)."""
        both = np.sum(self.said * self.plain, axis=0, where=self.use)
        square = np.sum(self.plain**2, axis=0, where=self.use)
        return np.divide(both, square, out=np.ones_like(both), where=square > 0)

    @property
    def points(self) -> int:
        """Number of figures."""
        return int(self.use.sum())

    @cached_property
    def setting(self) -> Index:
        """Number of the setting of each row, shape (rows,)."""
        return self.rows.groupby("case").ngroup().to_numpy()

    @property
    def settings(self) -> int:
        """Number of settings that count."""
        return len(np.unique(self.setting[self.use.any(axis=1)]))

    @property
    def bic(self) -> float:
        """The criterion without a cause."""
        return self._bic(self._weighted(np.zeros_like(self.said)), 0)

    def inside(self, scope: Scope) -> Mask:
        """Return which rows a scope holds, shape (rows,)."""
        if not scope.rule:
            return np.ones(len(self.rows), dtype=bool)
        return (self.rows[scope.rule] == scope.value).to_numpy()

    def fit(self, effect: Effect, scope: Scope) -> Fit:
        """Fit a cause in the rows of a scope."""
        inside = self.inside(scope)
        amount, left, chance = self._best(effect, inside)
        beyond_chance = [
            (BAND * (alone - amount)) ** 2 - own**2
            for alone, _, own in (part._best(effect, inside) for part in self._alone)
            if own < abs(amount)
        ]
        before = self._weighted(np.zeros_like(self.said))
        was, now = (self._square(residual * inside[:, None]) for residual in (before, left))
        ends = effect.amounts[[0, -1]]
        return Fit(
            cause=effect.cause,
            scope=scope,
            amount=amount,
            plus_minus=float(np.sqrt(chance**2 + max([0.0, *beyond_chance]))),
            at_bound=bool(np.isclose(amount, ends, atol=1e-3 * np.ptp(ends)).any()),
            bic=self._bic(left, 1),
            explained=1 - now / was if was else 0.0,
            rms=self._rms(before, left, inside),
        )

    @cached_property
    def _alone(self) -> list[Evidence]:
        """The evidence of each quantity alone, where there are several."""
        if len(self.measures) < 2:
            return []
        own = np.eye(len(self.measures), dtype=bool)
        return [replace(self, said=np.where(one, self.said, np.nan)) for one in own]

    def _best(self, effect: Effect, inside: Mask) -> tuple[float, Array, float]:
        """Return the best amount, the weighted residuals left, and half of the interval of chance.

        The interval is infinite where no figure tells the amount.
        """
        from scipy.optimize import least_squares

        scale = self.slope if effect.by_fast else 1.0

        def residual(x: Array) -> Array:
            return self._weighted(scale * effect.at(float(x[0])) * inside[:, None]).ravel()

        def merit(amount: float) -> tuple[float, float]:
            return float(np.sum(residual(np.array([amount])) ** 2)), abs(amount)

        low, high = effect.amounts[[0, -1]]
        inset = 0.01 * (high - low)  # from a bound itself the search does not start
        start = np.clip(min(effect.amounts, key=merit), low + inset, high - inset)
        done = least_squares(residual, [start], bounds=(low, high), x_scale=high - low)
        slopes, left = (np.asarray(each).reshape(inside.size, -1) for each in (done.jac, done.fun))
        return float(done.x[0]), left, self._half_interval(slopes, left)

    def _weighted(self, change: Array) -> Array:
        """Return the weighted residuals of what the model says and a change, (rows, measures).

        They are 0 where a figure does not count.
        """
        return np.where(self.use, (self.said + change - self.bench) / self.sigma, 0.0)

    def _bic(self, residual: Array, fitted: int) -> float:
        n = self.points
        return float(n * np.log(max(self._square(residual) / n, NIL**2)) + fitted * np.log(n))

    def _square(self, residual: Array) -> float:
        """Return the sum of the squares of what counts."""
        return float(residual[self.use] @ residual[self.use])

    def _half_interval(self, slopes: Array, left: Array) -> float:
        """Return half of the 95 % interval of chance; `slopes` are those of the residuals."""
        from scipy.stats import t

        square, groups = self._square(slopes), self.settings
        if not square or groups < 2:
            return np.inf
        sums = np.bincount(self.setting, np.sum(slopes * left, axis=1))
        together = np.sqrt(groups / (groups - 1) * float(sums @ sums)) / square
        singly = np.sqrt(self._square(left) / (self.points - 1) / square)
        return float(
            max(t.ppf(0.975, groups - 1) * together, t.ppf(0.975, self.points - 1) * singly)
        )

    def _rms(self, before: Array, left: Array, inside: Mask) -> dict[str, tuple[float, float]]:
        """Return the RMS error of each quantity in the rows `inside`, before and after."""
        found = {}
        for number, measure in enumerate(self.measures):
            chosen = self.use[:, number] & inside
            if chosen.any():
                errors = (residual * self.sigma for residual in (before, left))
                was, now = (float(np.sqrt(np.mean(e[chosen, number] ** 2))) for e in errors)
                found[measure.name] = was, now
        return found
