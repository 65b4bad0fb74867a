"""A Gaussian-process fit of what the FE model differs by from the fast one, with an honest band.

The process has the covariance of :mod:`fem.trust.kernel` and a little noise. Its hyperparameters
have the greatest likelihood on a part of the points; whole curves are then left out in turn, all is
found anew from the others, hyperparameters too, and the errors there say by how much the predicted
standard deviation is too small or too great: it is scaled so that 95 % of the left-out points are
within 1.96 of it. To see how far that holds elsewhere, the bands at the curves of one part are
scaled by the errors at those of all other parts, not by their own.

See also eq. (66) of docs/theory.md.

Source: C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning, MIT Press
2006, algorithm 2.1 and chapter 5 (as scikit-learn implements it). That one scale is taken from
left-out residuals is common practice, no source.
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
"""Parts of the curves that are left out in turn."""

MOST_POINTS = 2500
"""Points of a fit; its work grows with their cube."""

SEARCH_POINTS = 220
"""Points from which the hyperparameters are found."""

NOISE = (1e-7, 1e-1)
"""Least and greatest variance of the noise, as a share of the mean square of what is fitted."""

JITTER = (1e-10, 1e-8, 1e-6)
"""What is added to the variance of each point, the next where round-off is greater than that."""


@dataclass(frozen=True, eq=False)
class Fit:
    """The fit of one quantity.

    Attributes
    ----------
    inputs
        Of the points it was made from, shape (points, inputs); the amplitude in the last column.
    values
        FE less fast there, shape (points,), in the unit of `scale`.
    scale
        What the values are multiplied by.
    group
        The symmetries, as they act on inputs and quantity.
    shared
        Number of the set of inputs that each shares its length scale with.
    theta
        Logarithms of length scales, variance and variance of the noise.
    widening
        What the predicted standard deviation is multiplied by.
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
        """Return FE less fast at other inputs, and its standard deviation, shape (points,) each."""
        mean, std = self._regressor.predict(inputs, return_std=True)
        return self.scale * mean, self.widening * self.scale * std


def find(
    inputs: Array,
    values: Array,
    curves: Array,
    group: tuple[Symmetry, ...],
    shared: tuple[int, ...],
) -> tuple[Fit, Array]:
    """Fit a quantity.

    Parameters
    ----------
    inputs, values
        Of the points, see :class:`Fit`; the values in their own unit.
    curves
        What tells which curve a point is of, shape (points,); points of a curve in their order.
    group, shared
        See :class:`Fit`.

    Returns
    -------
    The fit, and mean and standard deviation at each of the points as predicted by a fit that was
    made without their curves, shape (2, points); the deviation is widened by what the curves of
    the other parts ask for.

    Raises
    ------
    InputError
        If the points lie so close to one another that no fit can be told apart from round-off.
    """
    from sklearn.model_selection import GroupKFold

    whole = _fit(inputs, values, curves, group, shared)
    left_out = np.zeros((2, len(values)))
    folds = GroupKFold(min(FOLDS, len(np.unique(curves))), shuffle=True, random_state=0)
    parts = list(folds.split(inputs, values, curves))
    for known, unknown in parts:
        part = _fit(inputs[known], values[known], curves[known], group, shared)
        left_out[:, unknown] = part.predict(inputs[unknown])
    ratios = abs(left_out[0] - values) / left_out[1]
    for known, unknown in parts:
        left_out[1, unknown] *= _widening(ratios[known])
    return replace(whole, widening=_widening(ratios)), left_out


def _widening(ratios: Array) -> float:
    """Return what makes 95 % of the errors, over their predicted deviations, keep to the band."""
    return float(np.quantile(ratios, 0.95)) / BAND


def _fit(
    inputs: Array,
    values: Array,
    curves: Array,
    group: tuple[Symmetry, ...],
    shared: tuple[int, ...],
) -> Fit:
    amplitude = inputs[:, -1]
    strong = amplitude > 1e-3 * amplitude.max()
    scale = float(np.sqrt(np.mean((values[strong] / amplitude[strong]) ** 2))) or 1.0
    some, kept = (thinned(curves, most) for most in (SEARCH_POINTS, MOST_POINTS))
    theta = _regress(inputs[some], values[some] / scale, group, shared).kernel_.theta
    return Fit(inputs[kept], values[kept] / scale, scale, group, shared, np.asarray(theta))


def _regress(
    inputs: Array,
    values: Array,
    group: tuple[Symmetry, ...],
    shared: tuple[int, ...],
    theta: Array | None = None,
) -> Any:
    """Return the regressor of hyperparameters, those of the greatest likelihood if None."""
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import WhiteKernel

    kernel = InvariantKernel(1.0, np.ones(1 + max(shared)), shared, group)
    kernel += WhiteKernel(1e-4, NOISE)
    optimizer = "fmin_l_bfgs_b" if theta is None else None
    if theta is not None:
        kernel = kernel.clone_with_theta(theta)
    with warnings.catch_warnings():  # that a length scale ends at its bound is no fault
        warnings.simplefilter("ignore")
        for alpha in JITTER:
            regressor = GaussianProcessRegressor(kernel, alpha=alpha, optimizer=optimizer)
            with suppress(np.linalg.LinAlgError):
                return regressor.fit(inputs, values)
    raise InputError("the points of the study lie too close to one another for a fit")


def thinned(curves: Array, most: int) -> Mask:
    """Return which points stand for all, no more than about `most`, as booleans.

    Of each curve the last point and every so many before it: the ends of the paths, where the
    models differ most, stay. If that is not enough, whole curves are left out, evenly.
    """
    import pandas

    points = pandas.Series(curves).groupby(curves)
    left = points.cumcount(ascending=False).to_numpy()  # points of the curve still to come
    longest = int(left.max()) + 1
    every = min(-(-len(curves) // most), longest)
    kept = left % every == 0
    skip = -(-int(kept.sum()) // most)
    return kept & (points.ngroup().to_numpy() % skip == 0) if every == longest else kept
