r"""Uniform extension, inflation and torsion of an incompressible thick tube.

A point at rest at (R, Theta, Z) moves to

.. math:: r^2 = (R^2 + \nu)/\lambda, \quad \theta = \Theta + \tau Z, \quad z = \lambda Z,
          \qquad \nu = a^2 \lambda - A^2, \qquad (1)

with lambda the axial stretch, tau the twist per length at rest, and a the bore radius, A at rest.
Lengths may have any unit. In the local axes (radial, hoop, axial) the deformation gradient is

.. math:: F = \begin{bmatrix} 1/(p \lambda) & & \\ & p & q \\ & & \lambda \end{bmatrix},
          \qquad p = r/R, \quad q = r \tau. \qquad (2)

See also eqs. (38) and (39) of docs/theory.md.

Source: R. S. Rivlin, Phil. Trans. R. Soc. A 242, 173 (1949), doi 10.1098/rsta.1949.0009, for (1);
formulas from memory, re-derived.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from fem.core.arrays import Array


def squared_radius(square: Any, nu: Any, stretch: Any) -> Any:
    """Return r^2 of eq. (1); `square` is R^2."""
    return (square + nu) / stretch


class Components(NamedTuple):
    """The entries of F in eq. (2), numbers or arrays of one shape."""

    radial: Array
    hoop: Array
    axial: Array
    shear: Array

    @property
    def largest_stretch(self) -> Array:
        r"""Largest principal stretch: across the wall, or in the surface of radius r.

        In the surface it is
        :math:`(\sqrt{(p + \lambda)^2 + q^2} + \sqrt{(p - \lambda)^2 + q^2})/2`, from the sum and
        the difference of the singular values of a 2 x 2 matrix (textbook). With four entries of F
        this costs less than the eigenvalues of tensors, with which
        :func:`fem.quantities.strain.largest_principal_stretch` computes it for the FE model.
        """
        p, lam, q = self.hoop, self.axial, self.shear
        in_surface = (np.hypot(p + lam, q) + np.hypot(p - lam, q)) / 2
        return np.asarray(np.maximum(in_surface, self.radial))

    @property
    def first_invariant(self) -> Array:
        """The first invariant tr F'F."""
        return self.radial**2 + self.hoop**2 + self.axial**2 + self.shear**2


def components(square: Any, nu: Any, stretch: Any, twist: Any) -> Components:
    """Return F of eq. (2) at radii R; `square` is R^2, `twist` is tau."""
    current = squared_radius(square, nu, stretch)
    hoop = np.sqrt(current / square)
    return Components(1 / (hoop * stretch), hoop, stretch, np.sqrt(current) * twist)
