r"""Uniform extension, inflation and torsion of an incompressible thick tube, with derivatives.

A point at rest at (R, Theta, Z) moves to

.. math:: r^2 = a^2 + (R^2 - A^2)/\lambda, \quad \theta = \Theta + \tau Z, \quad
          z = \lambda Z, \qquad (1)

with a the bore radius, lambda the axial stretch and tau the twist per length at rest; A and B are
the radii at rest. With rho = r^2 the invariants of the deformation are

.. math::
   I_1 &= R^2/(\rho \lambda^2) + \rho/R^2 + \rho \tau^2 + \lambda^2, \qquad (2) \\
   I_2 &= (1 + R^2 \tau^2)/\lambda^2 + R^2/\rho + \rho \lambda^2/R^2, \qquad (3)

and the stretch m of a thread at angle alpha to the axis on the radius B obeys

.. math:: m^2 = \lambda^2 \cos^2\alpha
          + (\rho_B/B^2) (\sin\alpha + B \tau \cos\alpha)^2. \qquad (4)

Source: R. S. Rivlin, Phil. Trans. R. Soc. A 242, 173 (1949), doi 10.1098/rsta.1949.0009, for (1);
J. E. Adkins & R. S. Rivlin, Phil. Trans. A 248, 201 (1955), doi 10.1098/rsta.1955.0014, for (4);
formulas from memory, re-derived.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from fem.core.arrays import Array


class Jet(NamedTuple):
    """Values of a function of three variables with its first and second derivatives.

    Attributes
    ----------
    value, gradient, hessian
        Shapes (...), (..., 3) and (..., 3, 3).
    """

    value: Array
    gradient: Array
    hessian: Array


def outer(left: Array, right: Array) -> Array:
    """Return the dyadic product over the last axis, shape (..., 3, 3)."""
    return left[..., :, None] * right[..., None, :]


def compose(value: Array, first: Array, second: Array, inner: Jet) -> Jet:
    """Return the jet of f(g) from f, f' and f'' at g and the jet of g."""
    return Jet(
        value,
        first[..., None] * inner.gradient,
        first[..., None, None] * inner.hessian
        + second[..., None, None] * outer(inner.gradient, inner.gradient),
    )


def jet_of(value: Array, first: tuple[Any, ...], second: tuple[Any, ...]) -> Jet:
    """Stack derivatives given in the orders (1, 2, 3) and (11, 12, 13, 22, 23, 33)."""
    gradient = np.empty((*value.shape, 3))
    hessian = np.empty((*value.shape, 3, 3))
    for i, part in enumerate(first):
        gradient[..., i] = part
    for i, j, part in zip((0, 0, 0, 1, 1, 2), (0, 1, 2, 1, 2, 2), second, strict=True):
        hessian[..., i, j] = hessian[..., j, i] = part
    return Jet(value, gradient, hessian)


def squared_radius(shell: Any, a: Array, lam: Array) -> Jet:
    """Return rho of eq. (1) by (a, lambda, tau); `shell` is R^2 - A^2 (mm2)."""
    return jet_of(
        a**2 + shell / lam,
        (2 * a, -shell / lam**2, 0.0),
        (2.0, 0.0, 0.0, 2 * shell / lam**3, 0.0, 0.0),
    )


def first_invariant(R: Any, rho: Array, lam: Array, tau: Array) -> Jet:
    """Return I1 of eq. (2) by (rho, lambda, tau)."""
    return jet_of(
        R**2 / (rho * lam**2) + rho / R**2 + rho * tau**2 + lam**2,
        (
            -(R**2) / (rho * lam) ** 2 + 1 / R**2 + tau**2,
            -2 * R**2 / (rho * lam**3) + 2 * lam,
            2 * rho * tau,
        ),
        (
            2 * R**2 / (rho**3 * lam**2),
            2 * R**2 / (rho**2 * lam**3),
            2 * tau,
            6 * R**2 / (rho * lam**4) + 2,
            0.0,
            2 * rho,
        ),
    )


def second_invariant(R: Any, rho: Array, lam: Array, tau: Array) -> Jet:
    """Return I2 of eq. (3) by (rho, lambda, tau)."""
    sheared = 1 + (R * tau) ** 2
    return jet_of(
        sheared / lam**2 + R**2 / rho + rho * lam**2 / R**2,
        (
            -(R**2) / rho**2 + lam**2 / R**2,
            -2 * sheared / lam**3 + 2 * rho * lam / R**2,
            2 * R**2 * tau / lam**2,
        ),
        (
            2 * R**2 / rho**3,
            2 * lam / R**2,
            0.0,
            6 * sheared / lam**4 + 2 * rho / R**2,
            -4 * R**2 * tau / lam**3,
            2 * R**2 / lam**2,
        ),
    )


def squared_stretch(B: float, alpha: float, rho: Array, lam: Array, tau: Array) -> Jet:
    """Return m^2 of eq. (4) by (rho at B, lambda, tau); `alpha` in rad."""
    cos = np.cos(alpha)
    slant = np.sin(alpha) + B * tau * cos
    return jet_of(
        (lam * cos) ** 2 + rho * (slant / B) ** 2,
        ((slant / B) ** 2, 2 * lam * cos**2, 2 * rho * slant * cos / B),
        (0.0, 0.0, 2 * slant * cos / B, 2 * cos**2, 0.0, 2 * rho * cos**2),
    )


def substitute(jet: Jet, rho: Jet) -> Jet:
    """Return a jet by (rho, lambda, tau) as one by (a, lambda, tau)."""
    jacobian = np.zeros((*rho.value.shape, 3, 3))
    jacobian[..., 0, :] = rho.gradient
    jacobian[..., 1, 1] = jacobian[..., 2, 2] = 1.0
    transposed = jacobian.swapaxes(-1, -2)
    along_rho = jet.gradient[..., 0]
    return Jet(
        jet.value,
        (transposed @ jet.gradient[..., None])[..., 0],
        transposed @ jet.hessian @ jacobian + along_rho[..., None, None] * rho.hessian,
    )
