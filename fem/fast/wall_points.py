r"""Integration points through the wall.

Integrals over the wall are taken over x = ln R by the Gauss-Legendre rule,

.. math:: \int_A^B f\, R\, dR = \int_{\ln A}^{\ln B} f\, R^2\, dx, \qquad (1)

so that a narrow bore, where the strain changes over its own radius, is resolved as well as a wide
one. The integrand is smooth, so each point reduces the error by the same factor, which is
larger for thinner walls: a number of points that depends on ln(B/A) gives about the same error in
every tube. If the rubber locks, its energy has a pole close to the bore, and the number is that of
a thick wall.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np

from fem.core.arrays import Array

BASE_POINTS, POINTS_PER_ROOT = 2.0, 9.0
"""The number of points is the first plus the second times the root of ln(B/A), rounded up.

Found by trial, for a bore at 0.7 to 8 times its radius and a sheared wall: the relative error of a
stored energy that is linear in I1 is below 1e-11, of its square or cube below 2e-9 and 1e-7
(tests/fast/test_wall_points.py).
"""

MIN_POINTS_LOCKING = 16
"""Smallest number of points for rubber that locks."""


def point_count(bore: float, outer: float, locks: bool) -> int:
    """Return the number of points through a wall between two radii (mm)."""
    points = math.ceil(BASE_POINTS + POINTS_PER_ROOT * math.sqrt(math.log(outer / bore)))
    return max(points, MIN_POINTS_LOCKING) if locks else points


@lru_cache(maxsize=64)
def gauss(points: int) -> tuple[Array, Array]:
    """Return positions (0 to 1) and weights (of sum 1) of the rule, shapes (points,)."""
    positions, weights = np.polynomial.legendre.leggauss(points)
    return (positions + 1) / 2, weights / 2


def radii_and_weights(bore: Any, outer: Any, points: int) -> tuple[Array, Array]:
    """Return the radii R, and the weights of f in eq. (1), shapes (points, ...).

    Parameters
    ----------
    bore, outer
        The radii A and B, shape (...).
    points
        Number of points.
    """
    positions, weights = gauss(points)
    span = np.log(outer / bore)
    R = bore * np.exp(np.multiply.outer(positions, span))
    return R, np.multiply.outer(weights, span) * R**2
