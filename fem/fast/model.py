r"""The fast model of a case: one uniform tube, with lengths as unknowns.

The energy is that of :mod:`fem.fast.potential` for one tube. Its unknowns y = (nu, epsilon, kappa)
are expressed by the bore radius a, and the twist phi and the displacement w of the free end. For
x = (a - A, B phi, w), three lengths, and :math:`\lambda = 1 + w/L`,

.. math:: \nu = (a^2 \lambda - A^2)/B^2, \quad \epsilon = w/L, \quad \kappa = x_2/L, \qquad (1)

and, with J = dy/dx, energy, volume V and their derivatives by x follow from

.. math:: E'_x = J^T E'_y, \qquad E''_x = J^T E''_y\, J + E'_\nu\, \nu''. \qquad (2)

The volume is linear in nu, so the pressure enters the stiffness only through :math:`\nu''`.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np

from fem.case.case import Case
from fem.continuation.loading import PRESSURE
from fem.core.arrays import Array
from fem.fast import outputs
from fem.fast.potential import energy, forces, volume, wall_components
from fem.fast.tubes import Tubes
from fem.quantities.measures import Reactions, TubeValues


class FastModel:
    """Model of a uniform tube with x = (a - A, B phi, w), shape (3,), mm.

    Parameters
    ----------
    case
        The case.
    """

    name = "fast"
    converge_to_roundoff = True

    def __init__(self, case: Case) -> None:
        self.case = case
        self.mesh: dict[str, Any] = {}
        self.tubes = Tubes.of([case])
        self._unit = float(self.tubes.energy_unit[0])

    def rest(self) -> Array:
        """Return the unloaded state."""
        return np.zeros(3)

    def kinematic(self, x: Array) -> Array:
        """Return bore radius (mm), axial stretch and twist per length (rad/mm), shape (3,)."""
        tube = self.case.tube
        at_rest = np.array([tube.bore_radius, 1.0, 0.0])
        return at_rest + x[[0, 2, 1]] / [1.0, tube.length, tube.outer_radius * tube.length]

    def unknowns(self, x: Array) -> Array:
        """Return y of eq. (1), shape (3, 1)."""
        tube = self.case.tube
        bore_growth, eps = x[0], x[2] / tube.length
        a = tube.bore_radius + bore_growth
        nu = (bore_growth * (tube.bore_radius + a) + a**2 * eps) / tube.outer_radius**2
        return np.array([[nu], [eps], [x[1] / tube.length]])

    def conjugate_displacements(self, x: Array) -> Array:
        """Return volume (mm3), end displacement (mm) and twist (rad), shape (3,)."""
        enclosed = volume(self.tubes, self.unknowns(x))[0]
        return np.array([enclosed, x[2], x[1] / self.case.tube.outer_radius])

    def load_vectors(self, x: Array) -> Array:
        """Return the derivatives of the conjugate displacements by x, shape (3, 3)."""
        twist = [0.0, 1 / self.case.tube.outer_radius, 0.0]
        return np.column_stack([self._unit * self._jacobian(x)[0], [0.0, 0.0, 1.0], twist])

    def internal_force(self, x: Array) -> Array:
        """Return the derivative of the energy by x; nan where radius or length vanish."""
        if min(self.kinematic(x)[:2]) <= 0:
            return np.full(3, np.nan)
        gradient, _ = forces(self.tubes, self.unknowns(x))
        return self._unit * (gradient[:, 0] @ self._jacobian(x))

    def tangent(self, x: Array, loads: Array) -> DenseTangent:
        """Return the second derivative of energy - pressure * volume, eq. (2)."""
        gradient, hessian = forces(self.tubes, self.unknowns(x))
        jacobian, (a, lam, _) = self._jacobian(x), self.kinematic(x)
        second = hessian[[[0, 1, 2], [1, 3, 4], [2, 4, 5]], 0]
        nu_hessian = np.zeros((3, 3))  # the second derivative of nu
        nu_hessian[0, 0] = 2 * lam
        nu_hessian[0, 2] = nu_hessian[2, 0] = 2 * a / self.case.tube.length
        nu_hessian /= self.case.tube.outer_radius**2
        across = gradient[0, 0] - loads[PRESSURE]
        return DenseTangent(self._unit * (jacobian.T @ second @ jacobian + across * nu_hessian))

    def set_prestress_fraction(self, fraction: float) -> None:
        """Apply only this fraction of negative slack."""
        self.tubes = replace(self.tubes, prestress_fraction=fraction)

    def wall_stretch(self, x: Array) -> float:
        """Return the largest principal stretch in the wall."""
        return float(wall_components(self.tubes, self.unknowns(x)).largest_stretch.max())

    def error(self, residual: Array) -> float:
        """Return the largest dimensionless residual."""
        return float(np.abs(residual).max() / self.case.force_scale)

    def energy(self, x: Array) -> float:
        """Return the stored energy (N mm)."""
        return self._unit * float(energy(self.tubes, self.unknowns(x))[0])

    def reactions(self, x: Array, loads: Array) -> Reactions:
        """Return the force and torque of the wall and the threads across a section."""
        y = self.unknowns(x)
        return _single(outputs.reactions(self.tubes, y, forces(self.tubes, y)[0]))

    def tube_values(self, x: Array) -> TubeValues:
        """Return the values that the quantities are computed from, as numbers."""
        return _single(outputs.tube_values(self.tubes, self.unknowns(x)))

    def shape(self, x: Array, pressure: float) -> None:
        """Return None: the tube stays straight, see :mod:`fem.fast.shape`."""

    def _jacobian(self, x: Array) -> Array:
        """Return dy/dx, shape (3, 3)."""
        (a, lam, _), tube = self.kinematic(x), self.case.tube
        jacobian = np.zeros((3, 3))
        jacobian[0] = np.array([2 * a * lam, 0.0, a**2 / tube.length]) / tube.outer_radius**2
        jacobian[1, 2] = jacobian[2, 1] = 1 / tube.length
        return jacobian


class DenseTangent:
    """A symmetric matrix with the interface of a factorised one.

    Attributes
    ----------
    n_negative_eigenvalues
        Number of negative eigenvalues.
    """

    def __init__(self, matrix: Array) -> None:
        if not np.isfinite(matrix).all():
            raise ArithmeticError("the stiffness is not finite")
        self._matrix = matrix
        self.n_negative_eigenvalues = int((np.linalg.eigvalsh(matrix) < 0).sum())

    def solve(self, right: Array) -> Array:
        """Return the change of x that changes the residual by `right`."""
        try:
            return np.linalg.solve(self._matrix, right)
        except np.linalg.LinAlgError as singular:
            raise ArithmeticError("the stiffness is singular") from singular


def _single(record: Any) -> Any:
    """Return a record with numbers in place of its arrays of one element."""
    if isinstance(record, np.ndarray):
        return record.item()
    if isinstance(record, list):
        return [_single(part) for part in record]
    if is_dataclass(record) and not isinstance(record, type):
        return replace(record, **{f.name: _single(getattr(record, f.name)) for f in fields(record)})
    return record
