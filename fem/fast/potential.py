r"""Energy, forces and stiffness of many tubes at once.

The kinematics are those of :mod:`fem.fast.kinematics`. With all lengths divided by the outer radius
B, the unknowns y are

.. math:: \nu = a^2 \lambda - A^2, \quad \epsilon = \lambda - 1, \quad \kappa = B \tau, \qquad (1)

for which :math:`\rho \lambda = \sigma = R^2 + \nu` is linear, and the invariants are

.. math::
   I_1 &= S/\lambda + \lambda^2, \qquad S = 2 + h + \sigma \kappa^2, \qquad
          h = \nu^2/(\sigma R^2), \qquad (2) \\
   I_2 &= (1 + R^2 \kappa^2)/\lambda^2 + \lambda (2 + h). \qquad (3)

The enclosed volume is :math:`\pi B^2 L (A^2 + \nu)`: fixed volume is fixed :math:`\nu`, and the
pressure does not enter the stiffness. A thread at the angle alpha, with c and s its cosine and
sine, has the stretch m from

.. math:: m^2 - 1 = c^2 \epsilon (2 + \epsilon) + (\nu - \epsilon)\, u^2/\lambda
          + \kappa c\, (s + u), \qquad u = s + \kappa c, \qquad (4)

without a difference of large numbers, so that the tension of a stiff thread is accurate. With
N threads, EA, slack and strain s_t and e, and H from :mod:`fem.threads.tension`, the energy is

.. math:: E = 2\pi L \int_A^B W(I_1, I_2)\, R\, dR
              + \sum \frac{N L}{\cos\alpha} (1 + s_t)\, EA\, H(e), \qquad
              e = \frac{m}{1 + s_t} - 1, \qquad (5)

with the integral of :mod:`fem.fast.wall_points`. Energies are divided by :math:`\pi B^2 L`, so they
and their derivatives are in MPa, and pressure P, force F and torque M act on the unknowns as

.. math:: (P, \; F/\pi B^2, \; M/\pi B^3). \qquad (6)

The last axis of arrays counts the tubes, (..., n); symmetric 3 x 3 matrices are stored as the
elements 11, 12, 13, 22, 23, 33.

See also eqs. (40) to (43) of docs/theory.md.

Source: J. E. Adkins & R. S. Rivlin, Phil. Trans. A 248, 201 (1955), doi 10.1098/rsta.1955.0014, for
m, from memory; (2) to (4) derived here. `validation/reference_tube.py` has an independent
derivation.
"""

from __future__ import annotations

import numpy as np

from fem.core.arrays import Array
from fem.fast.kinematics import Components, components
from fem.fast.tubes import Tubes


def volume(tubes: Tubes, y: Array) -> Array:
    """Return the enclosed volume (mm3)."""
    return tubes.energy_unit * (tubes.bore_square + y[0])


def invariants(squares: Array, y: Array) -> tuple[Array, Array]:
    """Return eq. (2) and (3) at the points of the wall, shapes (points, n)."""
    nu, eps, kappa = y
    lam, shear = 1 + eps, kappa**2
    sigma = squares + nu
    h_plus_2 = 2 + nu**2 / (sigma * squares)
    return (
        (h_plus_2 + sigma * shear) / lam + lam**2,
        (1 + squares * shear) / lam**2 + lam * h_plus_2,
    )


def wall_components(tubes: Tubes, y: Array) -> Components:
    """Return F at bore and outer face, where the largest stretch is, shapes (2, n)."""
    faces = np.array([tubes.bore_square, np.ones(len(tubes))])
    return components(faces, y[0], 1 + y[1], y[2])


def thread_stretch(tubes: Tubes, y: Array) -> tuple[Array, Array, Array]:
    """Return m and u of eq. (4) and the strain of the threads, shapes (families, n)."""
    nu, eps, kappa = y
    twisted = kappa * tubes.cos
    u = tubes.sin + twisted
    excess = tubes.cos_square * (eps * (2 + eps))
    excess += (nu - eps) / (1 + eps) * (u * u)
    excess += twisted * (tubes.sin + u)
    stretch = np.sqrt(1 + excess)
    return stretch, u, (excess / (stretch + 1) - tubes.applied_slack) * tubes.per_natural


def energy(tubes: Tubes, y: Array) -> Array:
    """Return the energy of wall and threads over pi B^2 L (MPa)."""
    law = tubes.law
    stored = (tubes.weights * law.energy(*invariants(tubes.squares, y), *law.parameters)).sum(0)
    *_, strain = thread_stretch(tubes, y)
    natural = tubes.density * (1 + tubes.applied_slack)
    return np.asarray(stored + (natural * tubes.threads.energy(strain)).sum(0))


def forces(tubes: Tubes, y: Array) -> tuple[Array, Array]:
    """Return the derivatives of :func:`energy`, shapes (3, n) and (6, n)."""
    gradient, hessian = _of_wall(tubes, y)
    if len(tubes.cos):
        _add_threads(tubes, y, gradient, hessian)
    return gradient, hessian


def add_supports(tubes: Tubes, y: Array, gradient: Array, hessian: Array) -> None:
    """Add the springs of the free end to the derivatives, and fix its fixed displacements.

    Rows and columns of fixed unknowns become those of the unit matrix, with zero force.
    """
    if tubes.unsupported:
        return
    gradient[1:] += tubes.springs * y[1:]
    hessian[[3, 5]] += tubes.springs
    for unknown, row, fixed in ((1, (1, 3, 4), tubes.fixed[0]), (2, (2, 5, 4), tubes.fixed[1])):
        gradient[unknown, fixed] = 0.0
        for element in row:
            hessian[element, fixed] = 0.0
        hessian[row[1], fixed] = 1.0


def _of_wall(tubes: Tubes, y: Array) -> tuple[Array, Array]:
    """Return the derivatives of the energy of the wall, by the chain rule through I1 and I2."""
    nu, eps, kappa = y
    squares, lam, shear = tubes.squares, 1 + eps, kappa * kappa
    per = 1 / lam
    sigma = squares + nu
    inverse = 1 / sigma
    ratio = nu / squares * inverse
    # the sums over the points contain h, h', h'', sigma
    parts = np.empty((4, *sigma.shape))
    np.multiply(nu, ratio, out=parts[0])
    np.multiply(ratio, 1 + squares * inverse, out=parts[1])
    np.multiply(2 * squares * inverse, inverse * inverse, out=parts[2])
    parts[3] = sigma
    i1 = (2 + parts[0] + sigma * shear) * per + lam * lam
    i2 = (1 + squares * shear) * (per * per) + lam * (2 + parts[0])
    w1, w2 = tubes.law.dW(i1, i2)
    gradient, hessian = np.empty((3, nu.size)), np.empty((6, nu.size))
    _set_w1_terms(tubes.weights * w1, parts, y, gradient, hessian)
    if w2.any():
        _add_w2_terms(tubes.weights * w2, parts, squares, y, gradient, hessian)
    d2W = tubes.law.d2W(i1, i2)
    if any(W_ij.any() for W_ij in d2W):
        _add_d2W_terms(tubes, d2W, parts, y, hessian)
    return gradient, hessian


def _set_w1_terms(w1: Array, parts: Array, y: Array, gradient: Array, hessian: Array) -> None:
    """Set the terms of dW/dI1; `w1` contains the weights of the points."""
    _, eps, kappa = y
    lam, shear = 1 + eps, kappa * kappa
    per = 1 / lam
    total = w1.sum(0)
    of_h, of_h1, of_h2, of_sigma = (w1 * parts).sum(1)
    of_S = 2 * total + of_h + shear * of_sigma
    drop = of_S * (per * per)
    np.multiply(of_h1 + shear * total, per, out=gradient[0])
    np.subtract(2 * lam * total, drop, out=gradient[1])
    np.multiply(of_h2, per, out=hessian[0])
    np.multiply(2 * kappa * total, per, out=hessian[2])
    np.multiply(2, total + drop * per, out=hessian[3])
    np.multiply(2 * of_sigma, per, out=hessian[5])
    np.multiply(kappa, hessian[5], out=gradient[2])
    np.multiply(gradient[0], -per, out=hessian[1])
    np.multiply(gradient[2], -per, out=hessian[4])


def _add_w2_terms(
    w2: Array, parts: Array, squares: Array, y: Array, gradient: Array, hessian: Array
) -> None:
    """Add the terms of dW/dI2; `w2` contains the weights of the points."""
    _, eps, kappa = y
    lam = 1 + eps
    per = 1 / lam
    total, of_square = w2.sum(0), (w2 * squares).sum(0)
    of_h, of_h1, of_h2 = (w2 * parts[:3]).sum(1)
    of_shear = (total + kappa**2 * of_square) * (per * per * per)
    gradient[0] += lam * of_h1
    gradient[1] += 2 * total + of_h - 2 * of_shear
    gradient[2] += 2 * kappa * of_square * per**2
    hessian[0] += lam * of_h2
    hessian[1] += of_h1
    hessian[3] += 6 * of_shear * per
    hessian[4] -= 4 * kappa * of_square * (per * per * per)
    hessian[5] += 2 * of_square * per**2


def _add_d2W_terms(
    tubes: Tubes, d2W: tuple[Array, ...], parts: Array, y: Array, hessian: Array
) -> None:
    """Add the terms of the second derivatives of W by I1 and I2."""
    _, eps, kappa = y
    lam, shear, squares = 1 + eps, kappa * kappa, tubes.squares
    per = 1 / lam
    h, h1, _, sigma = parts
    first = (
        (h1 + shear) * per,
        2 * lam - (2 + h + sigma * shear) * per**2,
        2 * kappa * per * sigma,
    )
    second = (
        lam * h1,
        2 + h - 2 * (1 + squares * shear) * (per * per * per),
        2 * kappa * per**2 * squares,
    )
    pairs = ((first, first), (first, second), (second, second))
    for W_ij, (left, right) in zip(d2W, pairs, strict=True):
        if W_ij.any():
            _add_products(hessian, tubes.weights * W_ij, left, right)


def _add_products(
    hessian: Array, weights: Array, left: tuple[Array, ...], right: tuple[Array, ...]
) -> None:
    """Add the sum over the points of left right', and its transpose if the two differ."""
    for element, (i, j) in enumerate(((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))):
        product = left[i] * right[j]
        if left is not right:
            product = product + left[j] * right[i]
        hessian[element] += (weights * product).sum(0)


def _add_threads(tubes: Tubes, y: Array, gradient: Array, hessian: Array) -> None:
    """Add the derivatives of the energy of the threads, through q = m^2."""
    nu, eps, _ = y
    lam, cos = 1 + eps, tubes.cos
    per = 1 / lam
    sigma = 1 + nu
    stretch, u, strain = thread_stretch(tubes, y)
    tension, derivative = tubes.threads.tension(strain)
    cos_square, q_nu_kappa = tubes.cos_square, (2 * per) * (u * cos)
    # dq/dy
    first = np.empty((3, *cos.shape))
    np.multiply(u * u, per, out=first[0])
    drop = (sigma * per) * first[0]
    np.subtract(2 * lam * cos_square, drop, out=first[1])
    np.multiply(sigma, q_nu_kappa, out=first[2])
    inverse = 0.5 / stretch
    one = tubes.density * tension * inverse
    two = (tubes.density * tubes.per_natural * derivative - 2 * one) * (inverse * inverse)
    gradient += (one * first).sum(1)
    curved = two * first
    hessian[:3] += (curved[0] * first).sum(1)
    hessian[3:5] += (curved[1] * first[1:]).sum(1)
    hessian[5] += (curved[2] * first[2]).sum(0)
    hessian[1] -= (one * first[0]).sum(0) * per
    hessian[2] += (one * q_nu_kappa).sum(0)
    hessian[3] += 2 * ((one * cos_square).sum(0) + (one * drop).sum(0) * per)
    hessian[4] -= (one * first[2]).sum(0) * per
    hessian[5] += (2 * sigma * per) * (one * cos_square).sum(0)
