"""Gaussian-process fit of the difference between the models, with a cross-validated band.

The process has the covariance of :mod:`fem.trust.kernel` plus noise. Its hyperparameters maximise
the likelihood of a part of the points. In the cross-validation whole curves are held out, and the
fit to the others has its own hyperparameters. The posterior standard deviation is then scaled so
that 95 % of the held-out points are within 1.96 standard deviations. To estimate the coverage at
other curves, the bands of each fold are scaled by the errors of all other folds.

See also eq. (66) of docs/theory.md.

Source: C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning, MIT Press
2006, algorithm 2.1 and chapter 5 (as scikit-learn implements it). Scaling by held-out residuals is
common practice, no source.
"""

from __future__ import annotations

import warnings
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from fem.core.arrays import Array, Mask
from fem.core.errors import InputError
from fem.quantities.column import BAND
from fem.trust.kernel import InvariantKernel, Symmetry

FOLDS = 10
"""Folds of the cross-validation."""

MAX_POINTS = 2500
"""Greatest number of points of a fit; the cost increases with its cube."""

SEARCH_POINTS = 220
"""Number of points for the hyperparameters."""

NOISE = (1e-7, 1e-1)
"""Bounds of the noise variance, relative to the mean square of the fitted values."""

JITTER = (1e-10, 1e-8, 1e-6)
"""Values added to the diagonal of the covariance; the next one if round-off is greater."""


@dataclass(frozen=True, eq=False)
class Fit:
    """The fit of one quantity.

    Attributes
    ----------
    inputs
        Inputs of the fitted points, shape (points, inputs); the last column is the amplitude.
    values
        FE − fast at these points, shape (points,), divided by `scale`.
    scale
        Scale of the values.
    group
        The symmetries of inputs and quantity.
    shared
        For each input, the number of its set of inputs with the same length scale.
    theta
        Logarithms of length scales, variance and noise variance.
    widening
        Factor of the posterior standard deviation, from the cross-validation.
    """

    inputs: Array
    values: Array
    scale: float
    group: tuple[Symmetry, ...]
    shared: tuple[int, ...]
    theta: Array
    widening: float = 1.0

    @cached_property
    def _regressor(self) -> Any:
        return _regress(self.inputs, self.values, self.group, self.shared, self.theta)

    def predict(self, inputs: Array) -> tuple[Array, Array]:
        """Return FE − fast at other inputs, and its standard deviation, shape (points,) each."""
        mean, std = self._regressor.predict(inputs, return_std=True)
        return self.scale * mean, self.widening * self.scale * std


def cross_validated_fit(
    inputs: Array,
    values: Array,
    curves: Array,
    group: tuple[Symmetry, ...],
    shared: tuple[int, ...],
) -> tuple[Fit, Array]:
    """Fit a quantity, with a cross-validation.

    Parameters
    ----------
    inputs, values
        Inputs and values of the points, see :class:`Fit`; the values in the unit of the quantity.
    curves
        Label of the curve of each point, shape (points,); points of a curve in their order.
    group, shared
        See :class:`Fit`.

    Returns
    -------
    The fit to all points, and mean and standard deviation at each point as predicted without its
    curve, shape (2, points); the deviation has the factor of the other folds.

    Raises
    ------
    InputError
        If points are too close to one another for a fit.
    """
    from sklearn.model_selection import GroupKFold

    full = _fit(inputs, values, curves, group, shared)
    held_out = np.zeros((2, len(values)))
    folds = GroupKFold(min(FOLDS, len(np.unique(curves))), shuffle=True, random_state=0)
    splits = list(folds.split(inputs, values, curves))
    for train, test in splits:
        fit = _fit(inputs[train], values[train], curves[train], group, shared)
        held_out[:, test] = fit.predict(inputs[test])
    ratios = abs(held_out[0] - values) / held_out[1]
    for train, test in splits:
        held_out[1, test] *= _widening(ratios[train])
    return replace(full, widening=_widening(ratios)), held_out


def _widening(ratios: Array) -> float:
    """Return the factor for which 95 % of the errors are within the band."""
    return float(np.quantile(ratios, 0.95)) / BAND


def _fit(
    inputs: Array,
    values: Array,
    curves: Array,
    group: tuple[Symmetry, ...],
    shared: tuple[int, ...],
) -> Fit:
    amplitude = inputs[:, -1]
    significant = amplitude > 1e-3 * amplitude.max()
    scale = float(np.sqrt(np.mean((values[significant] / amplitude[significant]) ** 2))) or 1.0
    searched, fitted = (thinned(curves, count) for count in (SEARCH_POINTS, MAX_POINTS))
    theta = _regress(inputs[searched], values[searched] / scale, group, shared).kernel_.theta
    return Fit(inputs[fitted], values[fitted] / scale, scale, group, shared, np.asarray(theta))


def _regress(
    inputs: Array,
    values: Array,
    group: tuple[Symmetry, ...],
    shared: tuple[int, ...],
    theta: Array | None = None,
) -> Any:
    """Return the regressor with hyperparameters `theta`; the most likely ones if None."""
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import WhiteKernel

    kernel = InvariantKernel(1.0, np.ones(1 + max(shared)), shared, group)
    kernel += WhiteKernel(1e-4, NOISE)
    optimizer = "fmin_l_bfgs_b" if theta is None else None
    if theta is not None:
        kernel = kernel.clone_with_theta(theta)
    with warnings.catch_warnings():  # a length scale at its bound is acceptable
        warnings.simplefilter("ignore")
        for alpha in JITTER:
            regressor = GaussianProcessRegressor(kernel, alpha=alpha, optimizer=optimizer)
            with suppress(np.linalg.LinAlgError):
                return regressor.fit(inputs, values)
    raise InputError("points of the study are too close to one another for a fit")


def thinned(curves: Array, count: int) -> Mask:
    """Return a mask of about `count` points at most that represent all.

    Each curve keeps its last point and every n-th point before it, because the models differ most
    at the ends of the paths. If these are too many, whole curves are omitted at equal spacing.
    """
    import pandas

    points = pandas.Series(curves).groupby(curves)
    remaining = points.cumcount(ascending=False).to_numpy()  # points of the curve after this one
    longest = int(remaining.max()) + 1
    every = min(-(-len(curves) // count), longest)
    kept = remaining % every == 0
    skip = -(-int(kept.sum()) // count)
    return kept & (points.ngroup().to_numpy() % skip == 0) if every == longest else kept
