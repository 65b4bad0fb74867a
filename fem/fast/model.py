"""The fast model of a case."""

from __future__ import annotations

from typing import Any

import numpy as np

from fem.case.case import Case
from fem.case.thread_family import ThreadFamily
from fem.continuation.loading import PRESSURE
from fem.core.arrays import Array
from fem.fast.thick_tube import ThickTube
from fem.quantities.measures import Reactions, Snapshot, ThreadLinks


class FastModel:
    """Equilibrium of :class:`ThickTube`: x = (a - A, B phi, w), three lengths in mm.

    Parameters
    ----------
    case
        The case.
    """

    name = "fast"
    cheap = True

    def __init__(self, case: Case) -> None:
        self.case = case
        self.mesh: dict[str, Any] = {}
        self.tube = ThickTube(case)
        tube = self.tube
        # dy/dx for y = (a, lambda, tau): the map is linear
        self._map = np.zeros((3, 3))
        self._map[0, 0] = 1.0
        self._map[1, 2] = 1 / tube.length
        self._map[2, 1] = 1 / (tube.B * tube.length)

    def rest(self) -> Array:
        """Return the state without load."""
        return np.zeros(3)

    def kinematic(self, x: Array) -> Array:
        """Return y = (a, lambda, tau) of states x, shape (..., 3)."""
        return np.asarray(x @ self._map.T + [self.tube.A, 1.0, 0.0])

    def coordinates(self, x: Array) -> Array:
        """Return volume (mm3), shift (mm) and turn (rad) of the free end, shape (3,)."""
        return np.array(
            [float(self.tube.volume(self.kinematic(x)).value), x[2], x[1] / self.tube.B]
        )

    def directions(self, x: Array) -> Array:
        """Return the derivatives of the coordinates by x, shape (3, 3)."""
        volume = self.tube.volume(self.kinematic(x)).gradient @ self._map
        return np.column_stack([volume, [0.0, 0.0, 1.0], [0.0, 1 / self.tube.B, 0.0]])

    def internal(self, x: Array) -> Array:
        """Return the derivative of the energy by x."""
        y = self.kinematic(x)
        if min(y[0], y[1]) <= 0:  # no radius, no length
            return np.full(3, np.nan)
        return np.asarray(self.tube.energy(y).gradient @ self._map)

    def tangent(self, x: Array, loads: Array) -> DenseTangent:
        """Return the second derivative of energy - pressure * volume."""
        y = self.kinematic(x)
        hessian = self.tube.energy(y).hessian - loads[PRESSURE] * self.tube.volume(y).hessian
        return DenseTangent(self._map.T @ hessian @ self._map)

    def tighten(self, share: float) -> None:
        """Wind in only `share` of what threads are too short by."""
        self.tube.families = [family.tightened(share) for family in self.case.threads]

    def wall_stretch(self, x: Array) -> float:
        """Return the largest principal stretch in the wall."""
        return float(np.linalg.norm(self._gradients(self.kinematic(x)), ord=2, axis=(1, 2)).max())

    def error(self, residual: Array) -> float:
        """Return the largest out-of-balance force, without dimension."""
        return float(np.abs(residual).max() / self.case.force_scale)

    def energy(self, x: Array) -> float:
        """Return the stored energy (N mm)."""
        return float(self.tube.energy(self.kinematic(x)).value)

    def reactions(self, x: Array, loads: Array) -> Reactions:
        """Return what the wall and the threads carry across a section."""
        y = self.kinematic(x)
        _, torque, force = self.tube.energy(y).gradient @ self._map
        return Reactions(float(force), float(torque * self.tube.B), float(np.pi * y[0] ** 2))

    def snapshot(self, x: Array) -> Snapshot:
        """Return what the measures are taken from."""
        y = self.kinematic(x)
        tube = self.tube
        rho = y[0] ** 2 + (tube.B**2 - tube.A**2) / y[1]
        F = self._gradients(y)
        return Snapshot(
            twist=float(x[1] / tube.B),
            displacement=float(x[2]),
            outer_z=np.array([tube.length / 2]),
            outer_growth=np.array([np.sqrt(rho) - tube.B]),
            bore_stretch=float(y[0] / tube.A),
            wall_stretch=self.wall_stretch(x),
            wall_invariant=float((F**2).sum(axis=(1, 2)).max()),
            threads=[self._links(family, y, rho) for family in self.case.threads],
        )

    def _links(self, family: ThreadFamily, y: Array, rho: float) -> ThreadLinks:
        """Return the one link of a family, whose threads are all alike."""
        tube = self.tube
        stretch = tube.stretch(family, y).value
        strain = np.atleast_1d(tube.strain(family, stretch))
        slant = np.sin(family.angle) + tube.B * y[2] * np.cos(family.angle)
        return ThreadLinks(
            family,
            tension=family.tension(strain)[0],
            strain=strain,
            rest=np.array([family.length(tube.length)]),
            arm=np.atleast_1d(rho / tube.B * slant / stretch),  # r sin(psi)
            thread=np.array([0]),
        )

    def shape(self, x: Array, pressure: float) -> None:
        """Return nothing: the model knows no shape but a straight tube."""

    def _gradients(self, y: Array) -> Array:
        """Return F at the bore and outside, where the stretch is greatest; shape (2, 3, 3)."""
        a, lam, tau = y
        R = np.array([self.tube.A, self.tube.B])
        r = np.sqrt(a**2 + (R**2 - self.tube.A**2) / lam)
        F = np.zeros((2, 3, 3))
        F[:, 0, 0], F[:, 1, 1], F[:, 1, 2], F[:, 2, 2] = R / (r * lam), r / R, r * tau, lam
        return F


class DenseTangent:
    """A symmetric matrix that answers like a factorised one.

    Attributes
    ----------
    negative
        Number of negative eigenvalues.
    """

    def __init__(self, matrix: Array) -> None:
        if not np.isfinite(matrix).all():
            raise ArithmeticError("the stiffness is not finite")
        self._matrix = matrix
        self.negative = int((np.linalg.eigvalsh(matrix) < 0).sum())

    def solve(self, right: Array) -> Array:
        """Return the change of x that changes the residual by `right`."""
        try:
            return np.linalg.solve(self._matrix, right)
        except np.linalg.LinAlgError as singular:
            raise ArithmeticError("the stiffness is singular") from singular
