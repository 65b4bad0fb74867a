r"""The trace of any power of C, as a smooth function of its first two invariants.

C has the principal values x_1, x_2, x_3 with product 1. Whole powers s_j = tr C^j follow from
s_0 = 3, s_1 = I_1, s_2 = I_1^2 - 2 I_2 by Newton's identity, since every principal value satisfies
x^3 = I_1 x^2 - I_2 x + 1:

.. math:: s_j = I_1 s_{j-1} - I_2 s_{j-2} + s_{j-3}. \qquad (1)

Formulas for the x_i themselves are not differentiable where two of them are equal, as at rest. So a
fractional power x^{n + \beta}, 0 < \beta < 1, is written differently. From the integral

.. math:: x^\beta = \frac{\sin \pi\beta}{\pi}
          \int_0^\infty t^{\beta - 1} \frac{x}{x + t} \, dt, \qquad (2)

only the form is taken: x^\beta is replaced by a sum over fixed poles t_k in geometric progression,
whose coefficients are fitted by least squares for stretches from 1/25 to 25,

.. math:: x^\beta \approx c_0 + c_1 x + \sum_k c_k \frac{x}{x + t_k}. \qquad (3)

By the Cayley-Hamilton theorem its trace is rational in the invariants, and smooth:

.. math::
   \mathrm{tr}\, C^{n + \beta} &\approx c_0 s_n + c_1 s_{n+1} + \sum_k c_k N_k / P_k, \qquad (4) \\
   P &= \det(C + t) = t^3 + I_1 t^2 + I_2 t + 1, \\
   N &= P\, \mathrm{tr}\, C^{n+1} (C + t)^{-1} = t^2 s_{n+1} + t (I_1 s_{n+1} - s_{n+2}) + s_n.

Accuracy. Whole powers are exact. With fractional ones the stresses of an Ogden rubber are accurate
to 2e-9 for all exponents from 0.1 upwards (measured over random stretches from 1/25 to 25). Beyond
these stretches the error grows slowly and nothing becomes singular. The Gauss-Jacobi rule for (2),
which is the Padé approximation about x = 1, would need about 130 poles for the same.

See also eqs. (11) to (13) of docs/theory.md.

Source: (1) is Newton's; (2): R. Bhatia, Matrix Analysis (1997), sec. V.1, formula from memory;
the rest is derived here.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np

from fem.core.arrays import Array

MAX_STRETCH = 25.0
"""The fit covers stretches from the inverse of this value to this value."""

_LOG = 2 * np.log(MAX_STRETCH)
POLES = np.exp(1.47 * _LOG * np.linspace(-1.0, 1.0, 30))
"""The poles t_k; their range beyond the stretches was chosen for the smallest error."""


@lru_cache(maxsize=256)
def coefficients(beta: float) -> tuple[float, ...]:
    """Return c_0, c_1 and the c_k of eq. (3), for 0 < `beta` < 1.

    The value and its first two derivatives by ln x are fitted: energy, stress and stiffness.
    """
    x = np.exp(_LOG * np.cos(np.pi * (np.arange(200) + 0.5) / 200))[:, None]
    ones, share = np.ones_like(x), POLES / (x + POLES)
    rows = [
        np.hstack([ones, x, 1 - share]),
        np.hstack([0 * ones, x, share * (1 - share)]),
        np.hstack([0 * ones, x, share * (1 - share) * (2 * share - 1)]),
    ]
    matrix = np.vstack([row / (beta**k * x**beta) for k, row in enumerate(rows)])
    scale = np.abs(matrix).max(axis=0)
    fitted, *_ = np.linalg.lstsq(matrix / scale, np.ones(len(matrix)))
    return tuple(float(c) for c in fitted / scale)


def functions(i1: Any, i2: Any, whole: int, fractional: bool) -> list[Any]:
    """Return the functions of the sum in eq. (4), each minus its value at rest.

    Parameters
    ----------
    i1, i2
        Invariants: numbers, arrays or UFL expressions.
    whole, fractional
        The number n, and whether there is a beta; if not, s_n is the only function.
    """
    s = [3.0, i1, i1 * i1 - 2 * i2]
    while len(s) < whole + 3:
        s.append(i1 * s[-1] - i2 * s[-2] + s[-3])
    if not fractional:
        return [s[whole] - 3.0]
    at, rest = (i1, s[whole : whole + 3]), (3.0, [3.0] * 3)
    ratios = [_ratio(t, i2, *at) - _ratio(t, 3.0, *rest) for t in map(float, POLES)]
    return [s[whole] - 3.0, s[whole + 1] - 3.0, *ratios]


def _ratio(t: float, i2: Any, i1: Any, s: list[Any]) -> Any:
    """Return N/P from s_n, s_n+1 and s_n+2."""
    return (t * t * s[1] + t * (i1 * s[1] - s[2]) + s[0]) / (t**3 + i1 * t * t + i2 * t + 1)


# A jet is a function value at (I1, I2) with the derivatives by 1, 2, 11, 12, 22: shape (6, ...).
# These matrices give the terms of the product rule that come from the derivative of I1 (or I2).
_BY_I1, _BY_I2 = np.zeros((6, 6)), np.zeros((6, 6))
_BY_I1[[1, 3, 4], [0, 1, 2]] = 1.0, 2.0, 1.0
_BY_I2[[2, 4, 5], [0, 1, 2]] = 1.0, 1.0, 2.0


def derivatives(i1: Any, i2: Any, whole: int, weights: Sequence[Any]) -> Array:
    """Return the derivatives by 1, 2, 11, 12, 22 of the weighted sum of :func:`functions`.

    Parameters
    ----------
    i1, i2
        Invariants, shape (...).
    whole, weights
        The number n; one weight per function, only one if there is no beta. Weights are numbers, or
        arrays of one shape that broadcasts against the invariants.

    Returns
    -------
    Array
        Shape (5, ...).
    """
    i1, i2 = np.asarray(i1), np.asarray(i2)
    s = _power_sums(i1, i2, whole + 2)
    if len(weights) == 1:
        return np.asarray(weights[0] * s[whole, 1:])
    of_poles = np.moveaxis(np.array(weights[2:]), 0, -1)
    t, i1, i2, below = POLES, i1[..., None], i2[..., None], s[..., None]
    P = t**3 + i1 * t**2 + i2 * t + 1
    across = _times(i1, below[whole + 1], _BY_I1) - below[whole + 2]
    N = t**2 * below[whole + 1] + t * across + below[whole]
    d = np.empty((5, *P.shape))
    ratio = N[0] / P
    d[0], d[1] = (N[1] - ratio * t**2) / P, (N[2] - ratio * t) / P
    d[2] = (N[3] - 2 * d[0] * t**2) / P
    d[3] = (N[4] - d[0] * t - d[1] * t**2) / P
    d[4] = (N[5] - 2 * d[1] * t) / P
    whole_powers = weights[0] * s[whole, 1:] + weights[1] * s[whole + 1, 1:]
    return np.asarray(whole_powers + np.vecdot(d, of_poles))


def _power_sums(i1: Array, i2: Array, most: int) -> Array:
    """Return the jets of s_0 to s_most, shape (most + 1, 6, ...)."""
    s = np.zeros((most + 1, 6, *i1.shape))
    s[0, 0], s[1, 0], s[1, 1] = 3.0, i1, 1.0
    s[2] = _times(i1, s[1], _BY_I1)
    s[2, 0] -= 2 * i2
    s[2, 2] -= 2.0
    for j in range(3, most + 1):
        s[j] = _times(i1, s[j - 1], _BY_I1) - _times(i2, s[j - 2], _BY_I2) + s[j - 3]
    return s


def _times(i: Array, jet: Array, own: Array) -> Array:
    return np.asarray(i * jet + np.tensordot(own, jet, 1))
