"""Which single cause explains what model and bench differ by, if the data support one.

Each cause is fitted (:mod:`fem.compare.fit`) in all rows, and in the rows of one value of a text
setting alone, such as a slack rule. One is named only if its fit

- lowers the BIC against none by :data:`STRONG` more than 2 ln(number of fits), the price of
  choosing among so many;
- removes the share :data:`WORTH` of chi-squared in its rows;
- has an amount whose interval does not hold nil.

Other causes whose BIC is within :data:`APART` of the best cannot be told from it, and are named
with it. What is named of the FE model, and changes the case, is then solved by the FE model as
well, at the amount that was found, which mends the effect that the fast model predicted, and is
fitted again.

The fast model itself is off by the end effects, which much resemble wrong scales of the read-outs:
against it these are no causes, and a cause has to remove more.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fem.case.case import CaseError
from fem.compare.causes import Cause, Effect, Predicted, gauge, read_outs
from fem.compare.curve import Curve
from fem.compare.fit import Evidence, Fit, Scope
from fem.compare.match import MODEL, read, solved
from fem.measurements.bench import Bench

if TYPE_CHECKING:
    import pandas

STRONG = 10.0
"""So much lower a BIC is very strong evidence (R. E. Kass and A. E. Raftery, J. Am. Stat. Assoc.
90, 773, 1995; from memory)."""

APART = 6.0
"""Causes whose BIC differs by less are not told apart (strong evidence, ibid.)."""

WORTH = {"fe": 0.2, "fast": 0.5}
"""What removes less of chi-squared is not worth a name; choices of our own.

The end effects themselves remove up to 0.4 of it, when they are taken for slack or soft rubber.
"""

LEAST_SETTINGS = 4
"""Fewer settings tell nothing."""

Report = Callable[[str, int, int], None]
"""Is told what is computed, what is done of it, and all of it."""


@dataclass(frozen=True)
class Diagnosis:
    """What one compared model says of the bench.

    Attributes
    ----------
    model
        The model.
    points, settings
        Number of figures, and of settings.
    fits
        A fit to each cause and scope, the best first; none if there are too few settings.
    bic
        The criterion without a cause.
    found
        The one that is named, with those that cannot be told from it; empty if none is.
    """

    model: str
    points: int
    settings: int
    fits: list[Fit]
    bic: float
    found: list[Fit]

    @property
    def next(self) -> Fit | None:
        """The best fit of a cause that is not named."""
        named = {fit.cause for fit in self.found}
        return next((fit for fit in self.fits if fit.cause not in named), None)


def diagnose(
    rows: pandas.DataFrame,
    bench: Bench,
    model: str,
    curves: Mapping[str, Curve],
    predicted: Predicted | None,
    resolution: str = "coarse",
    report: Report | None = None,
) -> Diagnosis:
    """Return what single cause explains the residuals of a model.

    Parameters
    ----------
    rows
        As :func:`fem.compare.match.match` returns them.
    bench
        What was measured.
    model
        The compared model.
    curves
        Its curve of each setting, by the key of the case.
    predicted
        What the fast model says of this bench; None if there are too few settings to ask.
    resolution
        Mesh of the FE model, if that is what is compared.
    report
        Is told how the work goes.
    """
    if predicted is None:
        return Diagnosis(model, 0, len(bench.cases), [], 0.0, [])
    own = rows[rows.model == model].reset_index(drop=True)
    said = own[[measure.column + MODEL for measure in bench.measures]].to_numpy(dtype=float)
    true = own[[measure.column for measure in bench.measures]].to_numpy(dtype=float)
    evidence = Evidence(model, own, bench.measures, true, said, predicted[0])
    if evidence.settings < LEAST_SETTINGS:
        return Diagnosis(model, evidence.points, evidence.settings, [], 0.0, [])
    causes = [
        gauge(bench, curves, effect, evidence.slope) if effect.cause.kind == "gauge" else effect
        for effect in [*predicted[1], *read_outs(bench, said)]
    ]
    if model == "fast":
        causes = [effect for effect in causes if effect.cause.kind != "scale"]
    fits = _fits(evidence, causes, bench)
    found = _named(evidence, fits)
    doubtful = {fit.cause: fit for fit in found} if model == "fe" else {}
    if doubtful:
        causes = [
            _mended(effect, doubtful[effect.cause], evidence, bench, resolution, report)
            if effect.alter and effect.cause in doubtful
            else effect
            for effect in causes
        ]
        fits = _fits(evidence, causes, bench)
        found = _named(evidence, fits)
    return Diagnosis(model, evidence.points, evidence.settings, fits, evidence.bic, found)


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
            yield from (Scope(rule, str(v)) for v, n in counts.items() if n >= LEAST_SETTINGS)


def _named(evidence: Evidence, fits: Sequence[Fit]) -> list[Fit]:
    """Return the fit that the data support, and the best of each cause not told from it."""
    best, price = fits[0], 2 * np.log(len(fits))
    if (
        evidence.bic - best.bic - price < STRONG
        or best.explained < WORTH[evidence.model]
        or abs(best.amount) < best.plus_minus
    ):
        return []
    named: dict[Cause, Fit] = {}
    for fit in fits:
        if fit.bic - best.bic < APART:
            named.setdefault(fit.cause, fit)
    return list(named.values())


def _mended(
    effect: Effect,
    fit: Fit,
    evidence: Evidence,
    bench: Bench,
    resolution: str,
    report: Report | None,
) -> Effect:
    """Return an effect mended by what the FE model says at the amount of its fit.

    Only settings within the scope of the fit are solved.
    """
    assert effect.alter  # others need no model
    keys = list(dict.fromkeys(evidence.rows.case[evidence.inside(fit.scope)]))
    curves = {}
    for number, key in enumerate(keys):
        if report:
            report("check", number, len(keys))
        with suppress(CaseError):  # such a tube cannot be made, and has no curve
            altered = effect.alter(bench.cases[key], fit.amount)
            (curves[key],) = solved([altered], evidence.model, resolution)
    if report:
        report("check", len(keys), len(keys))
    return effect.through(fit.amount, read(bench, curves) - evidence.said, evidence.slope)
