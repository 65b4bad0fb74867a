r"""Points of integration through the wall.

Integrals over the wall are taken over x = ln R by the Gauss-Legendre rule,

.. math:: \int_A^B f\, R\, dR = \int_{\ln A}^{\ln B} f\, R^2\, dx, \qquad (1)

so that a narrow bore, round which the strain changes over its own radius, is resolved as well as a
wide one. What is integrated is smooth, so the error falls by the same factor with each point, and
the thinner the wall, the faster: a number of points that follows from ln(B/A) leaves about the same
error in every tube. Where the rubber locks, its energy has a pole close to the bore, and as many
are taken as a thick wall has.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np

from fem.core.arrays import Array

FEWEST, BY_ROOT = 2.0, 9.0
"""The number of points is the first plus the second times the root of ln(B/A), rounded up.

Found by trial, for a bore squeezed to 0.7 or blown up to 8 times its radius and the wall sheared:
the error of a stored energy that is linear in I1 is below 1e-11 of it, of one that goes with its
square or cube below 2e-9 and 1e-7 (tests/fast/test_wall_points.py).
"""

LOCKING = 16
"""Fewest points in a wall of rubber that locks."""


def count(bore: float, outer: float, locks: bool) -> int:
    """Return the number of points through a wall between two radii (mm)."""
    points = math.ceil(FEWEST + BY_ROOT * math.sqrt(math.log(outer / bore)))
    return max(points, LOCKING) if locks else points


@lru_cache(maxsize=64)
def gauss(points: int) -> tuple[Array, Array]:
    """Return places (0 to 1) and weights (of sum 1) of the rule, shapes (points,)."""
    places, weights = np.polynomial.legendre.leggauss(points)
    return (places + 1) / 2, weights / 2


def radii_and_weights(bore: Any, outer: Any, points: int) -> tuple[Array, Array]:
    """Return the radii R, and the weights of f in eq. (1), shapes (points, ...).

    Parameters
    ----------
    bore, outer
        The radii A and B, shape (...).
    points
        Number of points.
    """
    places, weights = gauss(points)
    span = np.log(outer / bore)
    R = bore * np.exp(np.multiply.outer(places, span))
    return R, np.multiply.outer(weights, span) * R**2
