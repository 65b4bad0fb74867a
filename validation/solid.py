r"""Bodies other than tubes, with the tube's element, forms, condensation and Newton's method.

Only mesh, coordinates and symmetry of the FE model are specific to the tube. Here the mesh comes
from `blocks.py`, and the unknowns are the free Cartesian displacements of the nodes. The rest is
that of the package: the cell-wise field and its potentials, the stored energy, the enclosed volume,
the condensed stiffness and its factorisation, and Newton's method under loading devices.

The enclosed volume is the flux of the field (x, y, 0)/2. Its flux through planes through the axis
or normal to it is zero, so a cavity may be closed by planes of symmetry, or by a fixed base across
the axis: at all free nodes the derivative of the volume is the force of unit pressure on the wall
of the cavity.

Of the three pairs of load and conjugate displacement, the pressure acts on this volume, and the
axial force as a uniform dead traction on a face, on the mean displacement of that face; the third
is not used.

Equilibrium. Reactions at fixed nodes are the forces of the wall on those nodes minus those of the
load, where the pressure is integrated over the bore itself and not derived from the volume. The
work of a load that grows from rest to l on its conjugate displacement g is

.. math:: W = \int_0^g l \, dg' = l g - \int_0^l g' \, dl'. \qquad (1)

Gauss quadrature evaluates one of the two integrals, over the driven variable.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import fem.fe  # noqa: F401 - the solver's wheel must be imported before dolfinx

# isort: split
import numpy as np
import ufl
from scipy.spatial import cKDTree

from fem.continuation.loading import AXIAL, PRESSURE, Loading, dead_load, prescribed
from fem.continuation.newton import Tangent, solve_equilibrium
from fem.core.arrays import Array
from fem.fe.mesh.body import Body
from fem.fe.system.assembly import Stiffness, System
from fem.fe.system.motion import FIXED, Motion
from fem.fe.wall.cell_forms import DISPLACEMENTS, PRESSURES, BrokenField, CellVector, Potential
from fem.fe.wall.energy import QUADRATURE, WallStrain, bore_force, enclosed_volume
from meshes.tube import GROUPS
from validation.check import Quantity, at_most
from validation.kinds import Kind

LOADED = "outer"
"""The group of the face under traction."""


class Cartesian(Motion):
    """Motions whose unknowns are the free Cartesian displacements.

    Parameters
    ----------
    body
        The body.
    free
        Which components are free, shape (nodes, 3).
    """

    def __init__(self, body: Body, free: Array) -> None:
        self.body = body
        self.size = int(free.sum())
        self.unknown = np.full(free.shape, FIXED)
        self.unknown[free] = np.arange(self.size)

    def displacement(self, q: Array) -> Array:
        """Return the nodal displacements, shape (nodes, 3), mm."""
        return np.append(q, 0.0)[self.unknown]


@dataclass(frozen=True)
class State:
    """A state of equilibrium.

    Attributes
    ----------
    x
        All unknowns.
    displacement
        Of the nodes, shape (nodes, 3), mm.
    loads, conjugates
        Of each pair, shape (3,).
    energy
        Stored in the meshed part (N mm).
    unstable
        Number of unstable directions under constant loads.
    """

    x: Array
    displacement: Array
    loads: Array
    conjugates: Array
    energy: float
    unstable: int

    @property
    def pressure(self) -> float:
        """Pressure on the bore (MPa)."""
        return float(self.loads[PRESSURE])


class Solid:
    """A body in the interface of Newton's method; see :class:`fem.continuation.newton.Model`.

    Parameters
    ----------
    body, free
        The body, and which components of its nodes are free, shape (nodes, 3).
    wall
        Makes the potential of the stored energy.
    scale
        Force scale (N) of the residuals at the nodes.
    traction
        Direction of the traction on the face `LOADED`, if any.
    """

    converge_to_roundoff = False

    def __init__(
        self,
        body: Body,
        free: Array,
        wall: Callable[[BrokenField], Potential],
        scale: float,
        traction: tuple[float, float, float] | None = None,
    ) -> None:
        self.body, self.motion, self.scale = body, Cartesian(body, free), scale
        self.system = System(self.motion)
        self.field = BrokenField(body)
        self.wall, self.bore = wall(self.field), enclosed_volume(self.field)
        self.strain = WallStrain(self.field)
        self.traction = np.zeros((len(body.connectivity), DISPLACEMENTS))
        if traction:
            self.traction = self._mean_push(traction)
        self.push = self.motion.assemble(self.traction)
        self._cell_volume = np.ptp(body.nodes, axis=0).prod() / len(body.connectivity)

    def _mean_push(self, direction: tuple[float, float, float]) -> Array:
        """Return the nodal forces of 1 N, uniform over the loaded face, by cells."""
        mesh, facets = self.body.mesh, self.body.facets
        area = ufl.Measure("ds", mesh, subdomain_data=facets, metadata=QUADRATURE)(GROUPS[LOADED])
        push, _ = ufl.split(ufl.TestFunction(self.field.space))
        form = ufl.inner(ufl.as_vector(direction), push) * area
        forces = CellVector(self.field, form).assemble()[:, :DISPLACEMENTS]
        return np.asarray(forces / np.linalg.norm(forces.reshape(-1, 3).sum(axis=0)))

    def rest(self) -> Array:
        """Return the state without load."""
        return np.zeros(self.motion.size + PRESSURES * len(self.body.connectivity))

    def _split(self, x: Array) -> tuple[Array, Array]:
        return x[: self.motion.size], x[self.motion.size :].reshape(-1, PRESSURES)

    def _set(self, x: Array) -> None:
        q, pressures = self._split(x)
        self.field.set(self.motion.displacement(q), pressures)

    def _join(self, gradient: Array) -> Array:
        forces = self.motion.assemble(gradient[:, :DISPLACEMENTS])
        return np.append(forces, gradient[:, DISPLACEMENTS:])

    def energy(self, x: Array) -> float:
        """Return the stored energy (N mm)."""
        self._set(x)
        return self.wall.value()

    def internal_force(self, x: Array) -> Array:
        """Return the derivative of the energy by x."""
        self._set(x)
        return self._join(self.wall.gradient())

    def conjugate_displacements(self, x: Array) -> Array:
        """Return the volume (mm3) and the mean displacement of the loaded face (mm)."""
        self._set(x)
        return np.array([self.bore.value(), self.push @ self._split(x)[0], 0.0])

    def load_vectors(self, x: Array) -> Array:
        """Return the derivatives of the conjugate displacements by x, shape (n, 3)."""
        self._set(x)
        load_vectors = np.zeros((len(x), 3))
        load_vectors[:, PRESSURE] = self._join(self.bore.gradient())
        load_vectors[: self.motion.size, AXIAL] = self.push
        return load_vectors

    def tangent(self, x: Array, loads: Array) -> Tangent:
        """Return the factorised second derivative of energy - pressure * volume."""
        self._set(x)
        hessian = self.wall.hessian()
        self.bore.second.add_to(hessian, -loads[PRESSURE])
        return Stiffness(self.system, hessian)

    def error(self, residual: Array) -> float:
        """Return the largest residual force or volume strain, dimensionless."""
        forces, strains = self._split(residual)
        return float(max(abs(forces).max() / self.scale, abs(strains).max() / self._cell_volume))

    def set_prestress_fraction(self, fraction: float) -> None:
        """Do nothing: there are no threads."""

    def wall_stretch(self, x: Array) -> float:
        """Return the largest principal stretch in the wall."""
        self._set(x)
        return float(self.strain.stretch().max())

    def follow(self, pair: int, values: Sequence[float], by_load: bool = True) -> list[State]:
        """Return the states at `values` of a load, or of its conjugate displacement, from rest."""
        size = np.ptp(self.body.nodes, axis=0).max()
        loading = Loading(
            (dead_load(), dead_load(), dead_load()),
            self.scale * np.array([size**-2, 1.0, size]),
            np.array([size**3, size, 1.0]),
        ).with_driven(pair, dead_load() if by_load else prescribed())
        x, loads = self.rest(), np.zeros(3)
        found = []
        for value in values:
            trial, _ = solve_equilibrium(self, loading.at(value), x, loads)
            x, loads = trial.x, trial.loads
            found.append(
                State(
                    x=x,
                    displacement=self.motion.displacement(self._split(x)[0]),
                    loads=loads,
                    conjugates=trial.conjugates,
                    energy=self.energy(x),
                    unstable=self.tangent(x, loads).n_negative_eigenvalues,
                )
            )
        return found

    def work(
        self, pair: int, end: float, by_load: bool = True, count: int = 8
    ) -> tuple[float, State]:
        """Return the work (N mm) of a load from rest to `end`, and the state.

        Eq. (1), by Gauss quadrature with `count` states; `end` is the load or its conjugate
        displacement.
        """
        at_rest = self.conjugate_displacements(self.rest())[pair]
        start = 0.0 if by_load else at_rest
        points, weights = np.polynomial.legendre.leggauss(count)
        driven = start + (end - start) * (points + 1) / 2
        *states, last = self.follow(pair, [*driven, end], by_load)
        if by_load:
            other = np.array([state.conjugates[pair] - at_rest for state in states])
            whole = end * (last.conjugates[pair] - at_rest)
            return float(whole - end / 2 * weights @ other), last
        loads = np.array([state.loads[pair] for state in states])
        return float((end - start) / 2 * weights @ loads), last

    def _unbalanced(self, state: State) -> Array:
        """Return the forces of the wall on the nodes minus those of the loads, (nodes, 3), N."""
        self._set(state.x)
        forces = self.wall.gradient() - state.pressure * bore_force(self.field).assemble()
        by_cell = forces[:, :DISPLACEMENTS] - state.loads[AXIAL] * self.traction
        unbalanced = np.zeros_like(self.body.nodes)
        np.add.at(unbalanced, self.body.connectivity.ravel(), by_cell.reshape(-1, 3))
        return unbalanced

    def reactions(self, state: State) -> Array:
        """Return the reactions at the nodes, zero where they are free; shape (nodes, 3), N."""
        return np.where(self.motion.unknown == FIXED, self._unbalanced(state), 0.0)

    def unbalanced(self, state: State) -> float:
        """Return the largest residual force (N) at free nodes."""
        return float(np.abs(self._unbalanced(state)[self.motion.unknown != FIXED]).max())

    def image_gap(self, state: State, other: Solid, image: State, mirror: Array) -> float:
        """Return the relative distance of a state from that of a mirrored body."""
        far, partner = cKDTree(other.body.nodes).query(self.body.nodes @ mirror)
        assert np.max(far) < 1e-6, "the meshes are not mirror images"
        gap = image.displacement[partner] - state.displacement @ mirror
        return float(np.abs(gap).max() / np.abs(state.displacement).max())

    def volume_gap(self, state: State) -> float:
        """Return the relative error of the derivatives of the volume.

        At free nodes they equal the forces of unit pressure on the deformed bore.
        """
        self.field.set(state.displacement, np.zeros((len(self.body.connectivity), PRESSURES)))
        slopes, push = (
            self.motion.assemble(forces[:, :DISPLACEMENTS])
            for forces in (self.bore.gradient(), bore_force(self.field).assemble())
        )
        return float(np.abs(slopes - push).max() / np.abs(push).max())

    def moved(self, state: State, *point: float) -> Array:
        """Return the current position (mm) of the node nearest to `point` at rest."""
        node = np.linalg.norm(self.body.nodes - point, axis=1).argmin()
        return self.body.nodes[node] + state.displacement[node]

    def tagged(self, *quantities: Quantity) -> list[Quantity]:
        """Return values of this body, with its cells."""
        mesh = "x".join(map(str, self.body.cells))
        return [replace(quantity, by="FE", mesh=mesh) for quantity in quantities]


def volume_check(what: str, solid: Solid, state: State) -> Quantity:
    """Return the check of the derivative of the enclosed volume (Gauss' theorem)."""
    name = f"{what}, derivative of the volume, error"
    return at_most(name, "Gauss' theorem", 1e-10, solid.volume_gap(state), Kind.EQUILIBRIUM)
