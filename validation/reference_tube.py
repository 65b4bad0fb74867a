r"""A second, independent derivation of the energy of the thick tube with threads.

It is the reference of the fast model, which uses other unknowns (:mod:`fem.fast.potential`). In the
kinematics of :mod:`validation.reference_kinematics` a tube of length L with N_i threads in family i
stores the energy and encloses the volume

.. math:: E = 2\pi L \int_A^B W(I_1, I_2)\, R \, dR
              + \sum_i \frac{N_i L}{\cos\alpha_i} (1 + s_i) EA_i H(e_i), \quad
              e_i = \frac{m_i}{1 + s_i} - 1, \qquad (1) \\
          V = \pi a^2 \lambda L. \qquad (2)

The quadrature points are those of :mod:`fem.fast.wall_points`.

All functions take arrays of states, shape (..., 3).
"""

from __future__ import annotations

import numpy as np

from fem.case.case import Case
from fem.case.thread_family import ThreadFamily
from fem.core.arrays import Array
from fem.fast.wall_points import point_count, radii_and_weights
from validation import reference_kinematics as k
from validation.reference_kinematics import Jet, compose, outer, substitute


class ThickTube:
    """Energy and volume of the tube of `case` by y = (a, lambda, tau): mm, 1, rad/mm."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.families = case.threads
        self.law = case.rubber.constitutive_law
        A, B = case.tube.bore_radius, case.tube.outer_radius
        self.A, self.B, self.length = A, B, case.tube.length
        points = point_count(A, B, self.law.locking is not None)
        self.R, weights = radii_and_weights(A, B, points)
        self._weights = 2 * np.pi * self.length * weights

    def volume(self, y: Array) -> Jet:
        """Return eq. (2) (mm3)."""
        a, lam, _ = np.moveaxis(y, -1, 0)
        scale = np.pi * self.length
        return k.jet_of(
            scale * a**2 * lam,
            (2 * scale * a * lam, scale * a**2, 0.0),
            (2 * scale * lam, 2 * scale * a, 0.0, 0.0, 0.0, 0.0),
        )

    def energy(self, y: Array) -> Jet:
        """Return eq. (1) (N mm)."""
        total = self.wall_energy(y)
        for family in self.families:
            part = self.thread_energy(family, y)
            total = Jet(*(one + other for one, other in zip(total, part, strict=True)))
        return total

    def invariants(self, y: Array) -> tuple[Jet, Jet]:
        """Return I1 and I2 at the Gauss points through the wall, shapes (..., points)."""
        a, lam, tau = np.moveaxis(y[..., None, :], -1, 0)
        rho = k.squared_radius(self.R**2 - self.A**2, a, lam)
        first = k.first_invariant(self.R, rho.value, lam, tau)
        second = k.second_invariant(self.R, rho.value, lam, tau)
        return substitute(first, rho), substitute(second, rho)

    def wall_energy(self, y: Array) -> Jet:
        """Return the first term of eq. (1)."""
        i1, i2 = self.invariants(y)
        law, w = self.law, self._weights
        w1, w2 = (w * slope for slope in law.dW(i1.value, i2.value))
        w11, w12, w22 = (w * c for c in law.d2W(i1.value, i2.value))
        mixed = outer(i1.gradient, i2.gradient)
        hessian = (
            w1[..., None, None] * i1.hessian
            + w2[..., None, None] * i2.hessian
            + w11[..., None, None] * outer(i1.gradient, i1.gradient)
            + w12[..., None, None] * (mixed + mixed.swapaxes(-1, -2))
            + w22[..., None, None] * outer(i2.gradient, i2.gradient)
        )
        gradient = w1[..., None] * i1.gradient + w2[..., None] * i2.gradient
        energy = w * law.energy(i1.value, i2.value, *law.parameters)
        return Jet(energy.sum(-1), gradient.sum(-2), hessian.sum(-3))

    def stretch(self, family: ThreadFamily, y: Array) -> Jet:
        """Return the stretch m of the threads of a family."""
        a, lam, tau = np.moveaxis(y, -1, 0)
        rho = k.squared_radius(self.B**2 - self.A**2, a, lam)
        squared = substitute(k.squared_stretch(self.B, family.angle, rho.value, lam, tau), rho)
        root = np.sqrt(squared.value)
        return compose(root, 1 / (2 * root), -1 / (4 * root**3), squared)

    def strain(self, family: ThreadFamily, stretch: Array) -> Array:
        """Return the strain e of threads with the stretch `stretch` on the tube."""
        return np.asarray(stretch / family.natural(1.0) - 1)

    def thread_energy(self, family: ThreadFamily, y: Array) -> Jet:
        """Return one term of the sum in eq. (1)."""
        stretch = self.stretch(family, y)
        length = family.count * family.helix(self.case.tube).length
        natural = family.natural(length)
        strain = self.strain(family, stretch.value)
        tension, slope = family.law.tension(strain)
        energy = natural * family.law.energy(strain)
        return compose(energy, length * tension, length**2 / natural * slope, stretch)
