"""The single cause that explains the residuals, if the data support one.

Each cause is fitted (:mod:`fem.compare.fit`) in all rows, and in the rows with one value of a text
setting, such as a slack rule. The best fit is supported by the data if it

- lowers the BIC, compared with no cause, by :data:`STRONG` plus 2 ln(number of fits), which
  accounts for the choice among them;
- explains the share :data:`MIN_EXPLAINED` of chi-squared in its rows;
- has an amount whose interval does not contain zero.

Other causes whose BIC is within :data:`INDISTINCT` of the best cannot be distinguished from it, and
are reported with it. If the FE model is compared, supported causes that change the case are solved
by the FE model at the fitted amount. This corrects the effect predicted by the fast model, and the
fit is repeated.

The fast model neglects the end effects, which resemble scale errors of the readings. So scale
errors are not considered for the fast model, and a cause must explain more.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fem.case.case import CaseError
from fem.compare.causes import Cause, Effect, Predicted, gauge_effect, reading_errors
from fem.compare.curve import Curve
from fem.compare.fit import Evidence, Fit, Scope
from fem.compare.match import MODEL, solve_curves, values_at_measurements
from fem.measurements.bench import Bench

if TYPE_CHECKING:
    import pandas

STRONG = 10.0
"""Difference of the BIC that is very strong evidence (R. E. Kass and A. E. Raftery, J. Am. Stat.
Assoc. 90, 773, 1995; from memory)."""

INDISTINCT = 6.0
"""Difference of the BIC below which causes are not distinguished (strong evidence, ibid.)."""

MIN_EXPLAINED = {"fe": 0.2, "fast": 0.5}
"""Least share of chi-squared that a cause must explain; choices of our own.

The end effects explain up to 0.4 of it if they are fitted as slack or soft rubber.
"""

MIN_SETTINGS = 4
"""Least number of settings for a diagnosis."""

Report = Callable[[str, int, int], None]
"""Called with the stage, the number done and the total number."""


@dataclass(frozen=True)
class Diagnosis:
    """Likely causes of the residuals of one model.

    Attributes
    ----------
    model
        The model.
    points, settings
        Number of values, and of settings.
    fits
        A fit for each cause and scope, the best first; empty if there are too few settings.
    bic
        The criterion without a cause.
    supported
        The best fit that the data support, and those that cannot be distinguished from it; empty
        if there is none.
    """

    model: str
    points: int
    settings: int
    fits: list[Fit]
    bic: float
    supported: list[Fit]

    @property
    def next_best(self) -> Fit | None:
        """The best fit of a cause that is not supported."""
        causes = {fit.cause for fit in self.supported}
        return next((fit for fit in self.fits if fit.cause not in causes), None)


def diagnose(
    rows: pandas.DataFrame,
    bench: Bench,
    model: str,
    curves: Mapping[str, Curve],
    predicted: Predicted | None,
    resolution: str = "coarse",
    report: Report | None = None,
) -> Diagnosis:
    """Return the single cause that explains the residuals of a model.

    Parameters
    ----------
    rows
        As :func:`fem.compare.match.match` returns them.
    bench
        The measurements.
    model
        The compared model.
    curves
        Its curve for each setting, by the key of the case.
    predicted
        Result of :func:`fem.compare.causes.predict`; None if there are too few settings.
    resolution
        Mesh of the FE model, if it is compared.
    report
        Called with the progress.
    """
    if predicted is None:
        return Diagnosis(model, 0, len(bench.cases), [], 0.0, [])
    own = rows[rows.model == model].reset_index(drop=True)
    values = own[[measure.column + MODEL for measure in bench.measures]].to_numpy(dtype=float)
    measured = own[[measure.column for measure in bench.measures]].to_numpy(dtype=float)
    evidence = Evidence(model, own, bench.measures, measured, values, predicted[0])
    if evidence.settings < MIN_SETTINGS:
        return Diagnosis(model, evidence.points, evidence.settings, [], 0.0, [])
    causes = [
        gauge_effect(bench, curves, effect, evidence.slope)
        if effect.cause.kind == "gauge"
        else effect
        for effect in [*predicted[1], *reading_errors(bench, values)]
    ]
    if model == "fast":
        causes = [effect for effect in causes if effect.cause.kind != "scale"]
    fits = _fits(evidence, causes, bench)
    supported = _supported(evidence, fits)
    to_check = {fit.cause: fit for fit in supported} if model == "fe" else {}
    if to_check:
        causes = [
            _corrected(effect, to_check[effect.cause], evidence, bench, resolution, report)
            if effect.change_case and effect.cause in to_check
            else effect
            for effect in causes
        ]
        fits = _fits(evidence, causes, bench)
        supported = _supported(evidence, fits)
    return Diagnosis(model, evidence.points, evidence.settings, fits, evidence.bic, supported)


def _fits(evidence: Evidence, causes: Sequence[Effect], bench: Bench) -> list[Fit]:
    """Return the fit of each cause in each scope, the best first."""
    scopes = list(_scopes(evidence.rows, bench))
    fits = [evidence.fit(effect, scope) for scope in scopes for effect in causes]
    return sorted(fits, key=lambda fit: fit.bic)


def _scopes(rows: pandas.DataFrame, bench: Bench) -> Iterator[Scope]:
    yield Scope()
    for rule in bench.text_settings:
        counts = rows.groupby(rule).case.nunique()
        if len(counts) > 1:
            yield from (Scope(rule, str(v)) for v, n in counts.items() if n >= MIN_SETTINGS)


def _supported(evidence: Evidence, fits: Sequence[Fit]) -> list[Fit]:
    """Return the supported fit, and the best of each cause not distinguished from it."""
    best, selection = fits[0], 2 * np.log(len(fits))
    if (
        evidence.bic - best.bic - selection < STRONG
        or best.explained < MIN_EXPLAINED[evidence.model]
        or abs(best.amount) < best.plus_minus
    ):
        return []
    supported: dict[Cause, Fit] = {}
    for fit in fits:
        if fit.bic - best.bic < INDISTINCT:
            supported.setdefault(fit.cause, fit)
    return list(supported.values())


def _corrected(
    effect: Effect,
    fit: Fit,
    evidence: Evidence,
    bench: Bench,
    resolution: str,
    report: Report | None,
) -> Effect:
    """Return an effect corrected by the FE model at the amount of its fit.

    Only settings within the scope of the fit are solved.
    """
    assert effect.change_case  # other effects need no model
    keys = list(dict.fromkeys(evidence.rows.case[evidence.inside(fit.scope)]))
    curves = {}
    for number, key in enumerate(keys):
        if report:
            report("check", number, len(keys))
        with suppress(CaseError):  # an invalid case has no curve
            altered = effect.change_case(bench.cases[key], fit.amount)
            (curves[key],) = solve_curves([altered], evidence.model, resolution)
    if report:
        report("check", len(keys), len(keys))
    return effect.corrected(
        fit.amount, values_at_measurements(bench, curves) - evidence.values, evidence.slope
    )
