"""The Hermite cubic against SciPy's, which is an independent implementation."""

import numpy as np
from numpy.polynomial.polynomial import polyder, polyval
from scipy.interpolate import CubicHermiteSpline

from fem.continuation.cubic import hermite


def test_cubic_is_that_of_scipy():
    values, slopes = np.random.default_rng(3).normal(size=(2, 2, 5))
    cubic, theirs = hermite(values, slopes), CubicHermiteSpline([0, 1], values, slopes)
    for t in (-0.5, 0.0, 0.3, 1.0, 2.0):  # outside too: the path extrapolates
        # round-off of some products of numbers of order 1 to 10
        np.testing.assert_allclose(polyval(t, cubic), theirs(t), atol=1e-13)
        np.testing.assert_allclose(polyval(t, polyder(cubic)), theirs(t, 1), atol=1e-13)
