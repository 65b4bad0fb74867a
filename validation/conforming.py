r"""The same tube in another finite-element library: truss elements from node to node, no symmetry.

FElupe meshes the whole tube with one 27-node hexahedron through the wall and solves for the
displacement, a continuous pressure and a continuous volume ratio, both linear along the edges of
the cells. Its threads are chains of two-node truss elements between neighbouring nodes of the outer
face; they are not immersed. Nothing of `fem/` is used here: mesh, rubber, thread law, follower
pressure, ring and Newton's method are those of FElupe, or are written again.

The plates are rings of nodes. One is fixed; the other moves as a rigid body with the rotation phi
about the axis and the displacement w along it,

.. math:: u = R(\phi) X - X + w e_z, \qquad (1)

under the thrust P pi A^2 on the plate that closes the bore. With U(q), all unknowns of the library
as functions of the free ones, q, equilibrium and its tangent are

.. math:: T^T r(U(q)) = 0, \qquad T^T K T + r \cdot \partial^2 U / \partial q^2,
   \qquad T = \partial U / \partial q. \qquad (2)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import felupe
import numpy as np
import numpy.typing as npt
from scipy import sparse
from scipy.sparse.linalg import splu

Array = npt.NDArray[np.float64]

FIRST = 2e-4
"""Pressure of the first step (MPa), within which the threads leave the toe region."""

MOST = 12
"""Limit of the Newton iterations of a step; steps grow only after at most half as many."""

CLOSE = 1e-7
"""Newton's method has converged when its largest correction is smaller (mm)."""

SYMMETRIC: dict[str, Any] = {
    "permc_spec": "MMD_AT_PLUS_A",
    "options": {"SymmetricMode": True},
    "diag_pivot_thresh": 0.0,
}
"""Options of the factorisation for a symmetric pattern.

With 24 x 10 cells it takes 0.2 s instead of 1.6 s with the defaults, measured here in 2026.
"""


@dataclass(frozen=True)
class Threads:
    """A family of threads, one from each column of nodes.

    Attributes
    ----------
    columns, levels
        Nodes that an element spans round and along the outer face; left-handed if negative.
    stiffness, toe
        Of one thread: EA (N), and the strain range of the toe region.
    """

    columns: int
    levels: int
    stiffness: float
    toe: float


class TensionOnly:
    r"""The thread law in the form of the library: tension (N) and its derivative by the strain e.

    .. math:: T = EA\,e^2/(2 e_0) \text{ up to } e_0, \qquad EA\,(e - e_0/2) \text{ beyond.}
    """

    def __init__(self, threads: Threads) -> None:
        self.threads = threads

    def gradient(self, x: Sequence[Any]) -> list[Any]:
        """Return tension and state variables; `x` begins with the stretch."""
        toe = self.threads.toe
        strain = np.maximum(x[0] - 1, 0.0)
        in_toe = np.minimum(strain, toe)
        tension = in_toe**2 / (2 * toe) + strain - in_toe
        return [self.threads.stiffness * tension, x[-1]]

    def hessian(self, x: Sequence[Any]) -> list[Any]:
        """Return the derivative."""
        return [self.threads.stiffness * np.clip((x[0] - 1) / self.threads.toe, 0.0, 1.0)]


@dataclass(frozen=True)
class Equilibrium:
    """A state of equilibrium.

    Attributes
    ----------
    twist, displacement
        Twist (rad) and displacement (mm) of the upper ring.
    middle_twist, middle_displacement
        Twist (rad) and change of length (mm) of the middle half of the outer face, from the means
        over its two ends.
    radius
        Mean radius of the outer face over that half (mm).
    tension
        Mean tension of each family's threads (N).
    pull, torque
        Reaction at the lower ring: force along the axis (N), moment about it (N mm).
    """

    twist: float
    displacement: float
    middle_twist: float
    middle_displacement: float
    radius: float
    tension: tuple[float, ...]
    pull: float
    torque: float


class ConformingTube:
    """A tube with threads in FElupe.

    Parameters
    ----------
    radii, length
        Bore and outer radius, and length (mm).
    moduli
        Shear and bulk modulus (MPa) of a neo-Hookean rubber.
    cells
        Cells round the tube and along it; each spans two nodes.
    families
        The threads.
    """

    def __init__(
        self,
        radii: tuple[float, float],
        length: float,
        moduli: tuple[float, float],
        cells: tuple[int, int],
        families: Sequence[Threads] = (),
    ) -> None:
        self.radii, self.length, self.cells = radii, length, cells
        self.mesh = self._mesh()
        self.radius = np.hypot(self.mesh.x, self.mesh.y)
        self.base = np.flatnonzero(self.mesh.z < 1e-6)
        self.ring = np.flatnonzero(self.mesh.z > length - 1e-6)
        self.field = self._field()
        rubber = felupe.NearlyIncompressible(felupe.NeoHooke(mu=moduli[0]), bulk=moduli[1])
        self.wall = felupe.SolidBody(rubber, self.field)
        inside = self.radius < radii[0] + 1e-6
        face = felupe.RegionTriQuadraticHexahedronBoundary(self.mesh, mask=inside)
        self.bore = felupe.SolidBodyPressure(felupe.FieldContainer([felupe.Field(face, dim=3)]))
        self.trusses = [self._trusses(family) for family in families]
        for body in (self.bore, *self.trusses):
            body.field[0].values = self.field[0].values  # one displacement for all
        held = (3 * np.append(self.base, self.ring)[:, None] + np.arange(3)).ravel()
        self._rest = np.concatenate([part.values.ravel() for part in self.field.fields])
        self._free = np.setdiff1d(np.arange(len(self._rest)), held)

    def _mesh(self) -> Any:
        around, along = self.cells
        flat = felupe.Cube(n=(2, around + 1, along + 1))
        flat = flat.add_midpoints_edges().add_midpoints_faces().add_midpoints_volumes()
        through, turn, rise = flat.points.T
        radius, theta = self.radii[0] + np.diff(self.radii) * through, 2 * np.pi * turn
        points = np.stack([radius * np.cos(theta), radius * np.sin(theta), self.length * rise], 1)
        bent = felupe.Mesh(points, flat.cells, flat.cell_type)
        return bent.merge_duplicate_points(decimals=9)

    def _field(self) -> Any:
        """Return displacement, pressure and volume ratio; the library's own is discontinuous."""
        corners, cells = np.unique(self.mesh.cells[:, :8], return_inverse=True)
        linear = felupe.Mesh(self.mesh.points[corners], cells.reshape(-1, 8), "hexahedron")
        return felupe.FieldsMixed(felupe.RegionTriQuadraticHexahedron(self.mesh), mesh=linear)

    def _trusses(self, threads: Threads) -> Any:
        """Return a thread from each node of the lower edge of the outer face."""
        columns, last = 2 * self.cells[0], 2 * self.cells[1]
        outer = np.flatnonzero(self.radius > self.radii[1] - 1e-6)
        x, y, z = self.mesh.points[outer].T
        column = np.rint(np.arctan2(y, x) / (2 * np.pi) * columns).astype(int) % columns
        node = np.empty((columns, last + 1), dtype=int)
        node[column, np.rint(z / self.length * last).astype(int)] = outer
        step, start = np.arange(last // threads.levels + 1), np.arange(columns)[:, None]
        chain = node[(start + threads.columns * step) % columns, threads.levels * step]
        lines = np.stack([chain[:, :-1], chain[:, 1:]], axis=-1).reshape(-1, 2)
        mesh = felupe.Mesh(self.mesh.points, lines, "line")
        field = felupe.Field(felupe.RegionTruss(mesh), dim=3).as_container()
        return felupe.TrussBody(TensionOnly(threads), field, area=1.0)

    def _set(self, q: Array) -> tuple[Any, Array]:
        """Set U(q) in the library; return T of eq. (2), and the second derivative by phi."""
        X, (cos, sin) = self.mesh.points[self.ring, :2], (np.cos(q[-2]), np.sin(q[-2]))
        turned = X @ np.array([[cos, sin], [-sin, cos]])
        x, y, z = 3 * self.ring, 3 * self.ring + 1, 3 * self.ring + 2
        values, first = self._rest.copy(), np.zeros((len(self._rest), 2))
        second = 0 * self._rest
        values[self._free] = q[:-2]
        values[x], values[y] = (turned - X).T
        values[z] = q[-1]
        first[x, 0], first[y, 0], first[z, 1] = -turned[:, 1], turned[:, 0], 1.0
        second[x], second[y] = -turned.T
        start = 0
        for part in self.field.fields:
            part.values[:] = values[start : start + part.values.size].reshape(part.values.shape)
            start += part.values.size
        free = sparse.csc_array(sparse.eye_array(len(values)))[:, self._free]
        return sparse.hstack([free, sparse.csc_array(first)], format="csc"), second

    def _assembled(self, pressure: float) -> tuple[Array, Any]:
        """Return r and K of all unknowns of the library, including those of the rings."""
        self.bore.update(pressure)
        size = len(self._rest)
        force, stiffness = np.zeros(size), sparse.csr_array((size, size))
        for body in (self.wall, self.bore, *self.trusses):
            sign = body.assemble.multiplier or 1.0
            vector, matrix = body.assemble.vector(body.field), body.assemble.matrix(body.field)
            vector.resize(size, 1)
            matrix.resize(size, size)
            force += sign * vector.toarray().ravel()
            stiffness = stiffness + sign * matrix
        return force, stiffness

    def system(self, q: Array, pressure: float) -> tuple[Array, Any]:
        """Return the residual and the tangent of eq. (2)."""
        T, second = self._set(q)
        force, stiffness = self._assembled(pressure)
        last = len(q) - 2
        curving = sparse.coo_array(([force @ second], ([last], [last])), shape=(len(q), len(q)))
        residual = T.T @ force
        residual[-1] -= pressure * np.pi * self.radii[0] ** 2
        return residual, (T.T @ stiffness @ T + curving).tocsc()

    def inflated(self, pressures: Sequence[float]) -> list[Equilibrium]:
        """Return the equilibria at increasing pressures (MPa), by small steps from rest.

        Raises
        ------
        RuntimeError
            If the steps become too small.
        """
        q, reached, step = np.append(self._rest[self._free], [0.0, 0.0]), 0.0, FIRST
        found = []
        for pressure in pressures:
            while reached < pressure:
                target = min(reached + step, pressure)
                solution, iterations = self._solved(q, target)
                if solution is None:
                    step /= 4
                else:
                    q, reached = solution, target
                    step *= 1.5 if iterations <= MOST / 2 else 1.0
                if step < FIRST / 100:
                    raise RuntimeError(f"no equilibrium beyond {reached * 1e3:.3f} kPa")
            found.append(self._equilibrium(q, pressure))
        return found

    def _solved(self, q: Array, pressure: float) -> tuple[Array | None, int]:
        """Return the solution of eq. (2) near q, None if not converged, and the iterations."""
        for iteration in range(1, MOST + 1):
            residual, tangent = self.system(q, pressure)
            step = splu(tangent, **SYMMETRIC).solve(-residual)
            q = q + step
            if not np.abs(step).max() < self.length:
                break
            if np.abs(step).max() < CLOSE:
                return q, iteration
        return None, MOST

    def _equilibrium(self, q: Array, pressure: float) -> Equilibrium:
        self._set(q)
        force, _ = self._assembled(pressure)
        current = self.mesh.points + self.field[0].values
        outer, height = self.radius > self.radii[1] - 1e-6, self.mesh.z / self.length
        middle = outer & (np.abs(height - 0.5) < 0.25 + 1e-6)
        low, high = (outer & (np.abs(height - share) < 1e-6) for share in (0.25, 0.75))
        rotation = np.angle(current @ [1, 1j, 0] / (self.mesh.points @ [1, 1j, 0]))
        reaction = force[: self.mesh.points.size].reshape(-1, 3)[self.base]
        x, y, _ = current[self.base].T
        w = self.field[0].values[:, 2]
        return Equilibrium(
            twist=q[-2],
            displacement=q[-1],
            middle_twist=float(rotation[high].mean() - rotation[low].mean()),
            middle_displacement=float(w[high].mean() - w[low].mean()),
            radius=float(np.hypot(*current[middle, :2].T).mean()),
            tension=tuple(float(np.mean(truss.results.stress)) for truss in self.trusses),
            pull=-float(reaction[:, 2].sum()),
            torque=float((y * reaction[:, 0] - x * reaction[:, 1]).sum()),
        )
