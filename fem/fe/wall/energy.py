r"""The wall: stored energy of the rubber, and volume enclosed by the bore.

Stored energy, with the law W of :mod:`fem.rubber.law` and F = I + grad u,

.. math:: \Pi = \int W(\bar I_1, \bar I_2) + p (J - 1) - p^2 / 2\kappa \; dX. \qquad (1)

Its derivatives by the displacement are taken through the invariants,

.. math:: \delta W = W_a\, \delta I_a, \qquad
   \Delta \delta W = W_{ab}\, \delta I_a\, \Delta I_b + W_a\, \Delta \delta I_a; \qquad (2)

otherwise UFL differentiates every operation of W in each of the many directions, and the form of an
Ogden rubber takes minutes to compile instead of seconds. The second derivative is taken at each
point by the gradient of the displacement; :mod:`fem.fe.wall.pointwise` transforms it to the nodes.

Enclosed volume, by the divergence theorem with the field (x, y, 0)/2, whose flux through end plates
normal to the axis and through the cut faces of a sector is zero,

.. math:: V = \tfrac12 \int_{bore} (x, y, 0) \cdot (-\mathrm{cof}\,F\, N) \; dA.

The gauge pressure P does the work P dV, so -P V is the potential of the follower pressure on the
bore *and* of the thrust on the closed ends; its second derivative (:mod:`fem.fe.wall.bore`) is
symmetric.

See also eqs. (14), (27) and (28) of docs/theory.md.

Source: G. A. Holzapfel, Nonlinear Solid Mechanics (2000), eq. 2.54 (Nanson) and sec. 8.3; from
memory, re-derived.
"""

from __future__ import annotations

from typing import Any

import basix
import dolfinx.fem
import numpy as np
import ufl

from fem.core.arrays import Array
from fem.fe.wall.bore import BoreHessian
from fem.fe.wall.cell_forms import BrokenField, CellVector, Potential
from fem.fe.wall.compiled import compile_expression
from fem.fe.wall.pointwise import PointwiseHessian
from fem.quantities.strain import isochoric_first_invariant, largest_principal_stretch
from fem.rubber import Rubber
from meshes.tube import GROUPS

DEGREE = 5
"""Three Gauss points in each direction: exact for the stiffness of an undistorted Q2 cell."""

QUADRATURE = {"quadrature_degree": DEGREE}


def deformation_gradient(field: BrokenField) -> Any:
    """Return F as a UFL expression."""
    return ufl.Identity(3) + ufl.grad(field.u)


def stored_energy(field: BrokenField, rubber: Rubber) -> Potential:
    """Return the energy stored in the body (N mm), differentiated by eq. (2)."""
    F, test = deformation_gradient(field), ufl.TestFunction(field.space)
    kappa = dolfinx.fem.Constant(field.body.mesh, rubber.bulk_modulus)
    invariants = [ufl.variable(i) for i in _invariants(F)]
    energy, volumetric = _density(field, rubber, *invariants), _volumetric(F, field.p, kappa)
    first = ufl.derivative(volumetric, field.function, test)
    for invariant in invariants:
        first += ufl.diff(energy, invariant) * ufl.derivative(invariant, field.function, test)
    dx = ufl.dx(field.body.mesh, metadata=QUADRATURE)
    return Potential(field, (energy + volumetric) * dx, first * dx, _hessian(field, rubber, kappa))


def _hessian(field: BrokenField, rubber: Rubber, kappa: Any) -> PointwiseHessian:
    """Return the second derivative of the stored energy, eq. (2) at the points."""
    mesh = field.body.mesh
    p = ufl.variable(field.p)
    G = ufl.variable(ufl.grad(field.u) * ufl.Jacobian(mesh))
    F = ufl.Identity(3) + G * ufl.JacobianInverse(mesh)
    invariants = [ufl.variable(i) for i in _invariants(F)]
    energy, volumetric = _density(field, rubber, *invariants), _volumetric(F, p, kappa)
    changes = [ufl.diff(i, G) for i in invariants]
    stiffness = ufl.diff(ufl.diff(volumetric, G), G)
    for invariant, change in zip(invariants, changes, strict=True):
        dW = ufl.diff(energy, invariant)
        dW_change = sum(
            ufl.diff(dW, i) * other for i, other in zip(invariants, changes, strict=True)
        )
        stiffness += ufl.outer(change, dW_change) + dW * ufl.diff(change, G)
    by_p, size = ufl.diff(volumetric, p), ufl.algebra.Abs(ufl.JacobianDeterminant(mesh))
    coupling, compliance = ufl.diff(by_p, G), ufl.diff(by_p, p)
    return PointwiseHessian(field, size * stiffness, size * coupling, size * compliance, DEGREE)


def _invariants(F: Any) -> tuple[Any, Any]:
    """Return the invariants of the isochoric part of the deformation."""
    J, C = ufl.det(F), F.T * F
    return J ** (-2 / 3) * ufl.tr(C), J ** (-4 / 3) * (ufl.tr(C) ** 2 - ufl.tr(C * C)) / 2


def _volumetric(F: Any, p: Any, kappa: Any) -> Any:
    """Return the volumetric part of the density in eq. (1)."""
    return p * (ufl.det(F) - 1) - p**2 / (2 * kappa)


def _density(field: BrokenField, rubber: Rubber, i1: Any, i2: Any) -> Any:
    """Return W, and nan beyond the locking stretch of the rubber.

    There the derivative of a law may be finite and wrong, as that of ln(1 - x) beyond 1. With fast
    mathematics of the compiler the logarithm itself is undefined, so the nan is input data.
    """

    def constant(number: float) -> Any:
        return dolfinx.fem.Constant(field.body.mesh, number)

    energy = rubber.energy(i1, i2, *map(constant, rubber.parameters))
    if rubber.locking is None:
        return energy
    within = ufl.lt(i1 - 3, constant(rubber.locking))
    return ufl.conditional(within, 1.0, constant(np.nan)) * energy


def _bore(field: BrokenField) -> Any:
    """Return the UFL measure of the surface of the bore at rest."""
    area = ufl.Measure("ds", field.body.mesh, subdomain_data=field.body.facets, metadata=QUADRATURE)
    return area(GROUPS["bore"])


def _outward(field: BrokenField) -> Any:
    """Return the outward normal of the enclosed volume, current area per area at rest (Nanson)."""
    return -ufl.cofac(deformation_gradient(field)) * ufl.FacetNormal(field.body.mesh)


def enclosed_volume(field: BrokenField) -> Potential:
    """Return the volume enclosed by the bore in the body (mm3)."""
    x = ufl.SpatialCoordinate(field.body.mesh) + field.u
    normal = _outward(field)
    volume = (x[0] * normal[0] + x[1] * normal[1]) / 2 * _bore(field)
    return Potential(field, volume, second=BoreHessian(field))


def bore_force(field: BrokenField) -> CellVector:
    """Return the forces of unit pressure on the bore, without those on the end plates.

    They are not part of the solution; they serve to check the thrust that
    :func:`enclosed_volume` implies.
    """
    virtual, _ = ufl.split(ufl.TestFunction(field.space))
    return CellVector(field, ufl.inner(_outward(field), virtual) * _bore(field))


class WallStrain:
    """Measures of the strain in the wall, at the quadrature points of each cell."""

    def __init__(self, field: BrokenField) -> None:
        points, _ = basix.make_quadrature(basix.CellType.hexahedron, DEGREE)
        self._mesh = field.body.mesh
        self._cells = np.arange(len(field.body.connectivity), dtype=np.int32)
        self._gradient = compile_expression(deformation_gradient(field), np.asarray(points))

    def _cauchy_green(self) -> Array:
        """Return C, shape (cells, points, 3, 3)."""
        F = self._gradient.eval(self._mesh, self._cells)
        return np.asarray(F.swapaxes(-1, -2) @ F)

    def stretch(self) -> Array:
        """Return the largest principal stretch in each cell at the current state of the field."""
        return largest_principal_stretch(self._cauchy_green()).max(axis=1)

    def first_invariant(self) -> Array:
        """Return the largest first invariant of the isochoric part in each cell."""
        return isochoric_first_invariant(self._cauchy_green()).max(axis=1)
