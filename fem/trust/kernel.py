r"""Covariance of a quantity that has the symmetry of its case.

With the Matern covariance k of order 3/2 and a finite group G of signed permutations g of the
features, whose characters chi(g) are 1 or -1 (-1 if the quantity changes its sign under g),

.. math:: k_G(x, y) = a(x)\, a(y)\, \sum_{g \in G} \chi(g)\, k(x, g y)        \qquad (1)

is the covariance of a process whose samples f satisfy f(g x) = chi(g) f(x), because
k(g x, g y) = k(x, y) if the features that g exchanges share a length scale. So the fit has the
symmetry to round-off at all points. The amplitude a(x) is known and equal at all points that G maps
onto each other; the quantity is zero where a(x) is zero. Samples of k are once differentiable, like
the response of a tube when its threads become taut; smoother kernels gave too narrow bands in
trials.

See also eqs. (64) and (65) of docs/theory.md.

Source: sum over the group as in D. Ginsbourger, X. Bay, O. Roustant and L. Carraro, Argumentwise
invariant kernels for the approximation of invariant functions, Annales de la Faculte des Sciences
de Toulouse 21 (2012) 501-527 (from memory); that (1) is invariant is elementary and tested.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from sklearn.gaussian_process.kernels import Hyperparameter, Kernel

from fem.core.arrays import Array


@dataclass(frozen=True)
class Symmetry:
    """One element of the group: feature i of the image is feature ``order[i]`` times ``signs[i]``.

    Attributes
    ----------
    order, signs
        The signed permutation of the features.
    character
        1 if the quantity keeps its sign, -1 if it changes.
    """

    order: tuple[int, ...]
    signs: tuple[int, ...]
    character: int = 1

    def __call__(self, features: Array) -> Array:
        """Return the features, shape (points, features), of the images of points."""
        return features[:, list(self.order)] * np.array(self.signs)


class InvariantKernel(Kernel):  # type: ignore[misc]
    """The covariance (1); points are rows of features, with the amplitude a in the last column.

    Parameters
    ----------
    variance
        Variance of k.
    length_scale
        Length scale of each set of features, shape (sets,).
    shared
        Number of the set of each feature.
    group
        Elements of the group, including the identity.
    length_scale_bounds
        Least and greatest length scale.
    """

    def __init__(
        self,
        variance: float = 1.0,
        length_scale: Any = (1.0,),
        shared: tuple[int, ...] = (0,),
        group: tuple[Symmetry, ...] = (Symmetry((0,), (1,)),),
        length_scale_bounds: tuple[float, float] = (0.05, 100.0),
        variance_bounds: tuple[float, float] = (1e-6, 1e6),
    ) -> None:
        self.variance, self.length_scale = variance, length_scale
        self.shared, self.group = shared, group
        self.length_scale_bounds, self.variance_bounds = length_scale_bounds, variance_bounds

    @property
    def hyperparameter_length_scale(self) -> Hyperparameter:
        """Hyperparameter for scikit-learn."""
        count = len(self.length_scale)
        return Hyperparameter("length_scale", "numeric", self.length_scale_bounds, count)

    @property
    def hyperparameter_variance(self) -> Hyperparameter:
        """Hyperparameter for scikit-learn."""
        return Hyperparameter("variance", "numeric", self.variance_bounds)

    def __call__(self, X: Array, Y: Array | None = None, eval_gradient: bool = False) -> Any:
        """Return the covariances, shape (n, m), and their gradient by the logarithms of theta."""
        from scipy.spatial.distance import cdist

        Y = X if Y is None else Y
        amplitude = X[:, -1:] * Y[:, -1]
        x, y = self._scaled(X), self._scaled(Y)
        total = np.zeros(amplitude.shape)
        gradient = np.zeros((*amplitude.shape, len(self.length_scale)))
        for element in self.group:
            image = element(y)
            part, inner = _matern(cdist(x, image))
            total += element.character * part
            if eval_gradient:
                for feature, place in enumerate(self.shared):
                    square = np.subtract.outer(x[:, feature], image[:, feature]) ** 2
                    gradient[..., place] += element.character * inner * square
        total *= self.variance * amplitude
        if not eval_gradient:
            return total
        gradient *= (self.variance * amplitude)[..., None]
        return total, np.dstack([gradient, total])

    def diag(self, X: Array) -> Array:
        """Return the variances, shape (n,)."""
        x, total = self._scaled(X), np.zeros(len(X))
        for element in self.group:
            total += element.character * _matern(np.linalg.norm(x - element(x), axis=1))[0]
        return self.variance * X[:, -1] ** 2 * total

    def _scaled(self, X: Array) -> Array:
        return X[:, :-1] / np.asarray(self.length_scale)[list(self.shared)]

    def is_stationary(self) -> bool:
        """Return False: the covariance does not depend on differences of points only."""
        return False


def _matern(distance: Array) -> tuple[Array, Array]:
    """Return the Matern 3/2 covariance at scaled distances d, and its gradient by ln(l) over d^2.

    Source: C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning, MIT
    Press 2006, eq. (4.17).
    """
    r = np.sqrt(3.0) * distance
    decay = np.exp(-r)
    return (1 + r) * decay, 3 * decay
