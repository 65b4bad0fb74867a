r"""Uniform tubes as a model of the batch path: one Newton iteration with explicit inverses.

With H the stiffness of a tube (3 x 3, symmetric), C its cofactor matrix and D its determinant,

.. math:: \frac{dy}{d\nu} = \frac{1}{C_{11}} (C_{11}, C_{12}, C_{13}), \qquad
          \frac{dP}{d\nu} = \frac{D}{C_{11}} = H_{1j} \frac{dy_j}{d\nu}, \qquad (1)

and at fixed nu the step follows from the lower 2 x 2 block, whose determinant is C_11. The
equilibrium is stable at fixed volume if this block is positive definite, and at fixed pressure if
D > 0 as well.

Source: Cramer's rule; Sylvester's criterion; textbook.
"""

from __future__ import annotations

import numpy as np

from fem.continuation.batch.model import Iteration
from fem.core.arrays import Array
from fem.fast.potential import add_supports, energy, forces, wall_components
from fem.fast.tubes import Tubes


class TubeBatch(Tubes):
    """Tubes as :class:`fem.continuation.batch.model.BatchModel`; x is y of fem.fast.potential.

    The unit of volume is pi B^2 L.
    """

    @property
    def pressure_scale(self) -> Array:
        """The shear modulus (MPa), shape (n,)."""
        return np.broadcast_to(self.law.shear_modulus, len(self))

    def rest(self) -> Array:
        """Return the unloaded state, shape (3, n)."""
        return np.zeros((3, len(self)))

    def iterate(self, x: Array) -> Iteration:
        """Return one Newton iteration at x, shape (3, n)."""
        return newton(self, x, *forces(self, x))

    def energy(self, x: Array) -> Array:
        """Return the energy stored in wall and threads (MPa), shape (n,)."""
        return energy(self, x)

    def end_energy(self, x: Array) -> Array:
        """Return the energy of the springs of the free end (MPa), shape (2, n)."""
        return self.springs * x[1:] ** 2 / 2

    def wall_stretch(self, x: Array) -> Array:
        """Return the largest principal stretch in the wall, shape (n,)."""
        return np.asarray(wall_components(self, x).largest_stretch.max(axis=0))


def newton(tubes: Tubes, y: Array, gradient: Array, hessian: Array) -> Iteration:
    """Return the iteration from the result of :func:`fem.fast.potential.forces` at `y`.

    Both arrays are changed in place: the supports of the free end are added.
    """
    add_supports(tubes, y, gradient, hessian)
    a, b, c, d, e, f = hessian
    r0, r1, r2 = gradient
    c11 = d * f - e * e
    per = 1 / c11
    step, slope = np.empty_like(gradient), np.empty_like(gradient)
    step[0], slope[0] = 0.0, 1.0
    np.multiply(e * r2 - f * r1, per, out=step[1])
    np.multiply(e * r1 - d * r2, per, out=step[2])
    np.multiply(c * e - b * f, per, out=slope[1])
    np.multiply(b * e - c * d, per, out=slope[2])
    stiffness = a + b * slope[1] + c * slope[2]
    stable = (f > 0) & (c11 > 0)
    # nan where bore radius or length vanish; as for a single case, errors are the radial force on
    # the bore, the force on the plate, and the torque on it over B
    radial = np.sqrt((tubes.bore_square + y[0]) * (1 + y[1]))
    return Iteration(
        error=np.maximum(np.abs(r1), np.abs(r2)) * tubes.per_scale,
        step=step,
        volume=y[0],
        slope=slope,
        stiffness=stiffness,
        pressure=r0 + b * step[1] + c * step[2],
        pressure_weight=radial * (2 * tubes.slenderness * tubes.per_scale),
        stable_at_fixed_volume=stable,
        stable=stable & (stiffness > 0),
    )
