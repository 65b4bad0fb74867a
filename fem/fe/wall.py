r"""The wall: stored energy of the rubber and volume enclosed by the bore.

Stored energy, with the law W of :mod:`fem.rubber.law` and F = I + grad u,

.. math:: \Pi = \int W(\bar I_1, \bar I_2) + p (J - 1) - p^2 / 2\kappa \; dX.

Enclosed volume, by the divergence theorem with the field (x, y, 0)/2, which is blind to end plates
normal to the axis and to the cut faces of a sector,

.. math:: V = \tfrac12 \int_{bore} (x, y, 0) \cdot (-\mathrm{cof}\,F\, N) \; dA.

The gauge pressure P does the work P dV, so -P V is the potential of the follower pressure on the
bore *and* of the thrust on the closed ends; its second derivative is symmetric.

Source: G. A. Holzapfel, Nonlinear Solid Mechanics (2000), eq. 2.54 (Nanson) and sec. 8.3; from
memory, re-derived.
"""

from __future__ import annotations

from typing import Any

import basix
import dolfinx.fem
import numpy as np
import ufl

from fem.arrays import Array
from fem.fe.broken import BrokenField, CellVector, Potential
from fem.fe.compiled import compile_expression
from fem.rubber import Rubber
from meshes.tube import GROUPS

QUADRATURE = {"quadrature_degree": 5}
"""Three Gauss points in each direction: exact for the stiffness of an undistorted Q2 cell."""


def deformation_gradient(field: BrokenField) -> Any:
    """Return F as a UFL expression."""
    return ufl.Identity(3) + ufl.grad(field.u)


def stored_energy(field: BrokenField, rubber: Rubber) -> Potential:
    """Return the energy stored in the body (N mm)."""
    mesh = field.body.mesh
    moduli = [dolfinx.fem.Constant(mesh, modulus) for modulus in rubber.moduli]
    kappa = dolfinx.fem.Constant(mesh, rubber.bulk_modulus)
    F = deformation_gradient(field)
    J = ufl.det(F)
    C = F.T * F
    i1 = J ** (-2 / 3) * ufl.tr(C)
    i2 = J ** (-4 / 3) * (ufl.tr(C) ** 2 - ufl.tr(C * C)) / 2
    p = field.p
    density = rubber.energy(i1, i2, *moduli) + p * (J - 1) - p**2 / (2 * kappa)
    return Potential(field, density * ufl.dx(mesh, metadata=QUADRATURE))


def _bore(field: BrokenField) -> Any:
    """Return the measure of the bore's surface at rest."""
    area = ufl.Measure("ds", field.body.mesh, subdomain_data=field.body.facets, metadata=QUADRATURE)
    return area(GROUPS["bore"])


def _outward(field: BrokenField) -> Any:
    """Return the normal out of the enclosed volume, current area per area at rest (Nanson)."""
    return -ufl.cofac(deformation_gradient(field)) * ufl.FacetNormal(field.body.mesh)


def enclosed_volume(field: BrokenField) -> Potential:
    """Return the volume enclosed by the body's part of the bore (mm3)."""
    x = ufl.SpatialCoordinate(field.body.mesh) + field.u
    normal = _outward(field)
    return Potential(field, (x[0] * normal[0] + x[1] * normal[1]) / 2 * _bore(field))


def bore_push(field: BrokenField) -> CellVector:
    """Return the forces by which unit pressure pushes on the bore alone, without end plates.

    It takes no part in the solution; it serves to check the thrust that :func:`enclosed_volume`
    implies.
    """
    test = ufl.TestFunction(field.space)
    push, _ = ufl.split(test)
    return CellVector(field, ufl.inner(_outward(field), push) * _bore(field))


class GreatestStretch:
    """The largest principal stretch in the wall, at the points of the quadrature."""

    def __init__(self, field: BrokenField) -> None:
        points, _ = basix.make_quadrature(
            basix.CellType.hexahedron, QUADRATURE["quadrature_degree"]
        )
        self._mesh = field.body.mesh
        self._cells = np.arange(len(field.body.connectivity), dtype=np.int32)
        self._gradient = compile_expression(deformation_gradient(field), np.asarray(points))

    def by_cell(self) -> Array:
        """Return the largest stretch in each cell in the present state of the field."""
        F = self._gradient.eval(self._mesh, self._cells)
        squared = np.linalg.eigvalsh(F.swapaxes(-1, -2) @ F)
        return np.asarray(np.sqrt(squared.max(axis=(1, 2))))
