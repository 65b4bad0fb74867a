r"""Bodies that are not tubes, solved with the tube's own element, forms, condensation and Newton.

What the FE model owes to the tube is its mesh, its chart and its symmetry alone. Here the mesh
comes from `blocks.py`; the unknowns are the Cartesian displacements of the nodes, those that are
held left out. The rest is the package's: the broken field and its potentials, the stored energy,
the enclosed volume, the condensed stiffness and its factors, and Newton's method under loading
devices.

The enclosed volume comes from the field (x, y, 0)/2. Planes through the axis or normal to it do not
feel this field, so a cavity may be closed by planes of symmetry, or by a base across the axis that
does not move: at all nodes that are free its derivative is the push on the cavity's wall.

Of the three pairs of load and coordinate the pressure acts on this volume, the axial force as a
dead traction spread evenly over a face, on the mean displacement of that face; the third is idle.

Balance. Reactions at what is held are the forces of the wall on those nodes less those of the load,
for which the pressure pushes on the bore itself and not by way of the volume. The work of a load
that grows from rest to l on its coordinate g is

.. math:: W = \int_0^g l \, dg' = l g - \int_0^l g' \, dl'. \qquad (1)

Gauss' formula takes the one or the other integral, over what drives the body.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import fem.fe  # noqa: F401 - the solver's wheel wants to come before dolfinx

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
from validation.check import Quantity

LOADED = "outer"
"""The group of the face that bears the traction."""


class Cartesian(Motion):
    """Motions whose unknowns are the Cartesian displacements that are free.

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
        Number of unstable directions, were the loads kept.
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
    """A body as Newton's method sees it; see :class:`fem.continuation.newton.Model`.

    Parameters
    ----------
    body, free
        The body, and which components of its nodes are free, shape (nodes, 3).
    wall
        Makes the potential of the stored energy.
    scale
        A force (N) against which the forces of a mesh's nodes are small or not.
    traction
        Direction of the traction on the face `LOADED`, if there is one.
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
        """Return the forces of 1 N spread evenly over the loaded face, by cells."""
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
        """Return the largest out-of-balance force or volume strain, without dimension."""
        forces, strains = self._split(residual)
        return float(max(abs(forces).max() / self.scale, abs(strains).max() / self._cell_volume))

    def set_prestress_fraction(self, fraction: float) -> None:
        """Do nothing: there are no threads."""

    def wall_stretch(self, x: Array) -> float:
        """Return the largest principal stretch in the wall."""
        self._set(x)
        return float(self.strain.stretch().max())

    def follow(self, pair: int, values: Sequence[float], by_load: bool = True) -> list[State]:
        """Take one load, or its coordinate, through `values` from rest; the other loads are nil."""
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
        """Return the work (N mm) of a load, or its coordinate, from rest to `end`, and the state.

        Eq. (1), by Gauss' formula with `count` states.
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
        """Return the forces of the wall on the nodes less those of the loads, (nodes, 3), N."""
        self._set(state.x)
        forces = self.wall.gradient() - state.pressure * bore_force(self.field).assemble()
        by_cell = forces[:, :DISPLACEMENTS] - state.loads[AXIAL] * self.traction
        unbalanced = np.zeros_like(self.body.nodes)
        np.add.at(unbalanced, self.body.connectivity.ravel(), by_cell.reshape(-1, 3))
        return unbalanced

    def reactions(self, state: State) -> Array:
        """Return what holds the nodes, nil where they are free; shape (nodes, 3), N."""
        return np.where(self.motion.unknown == FIXED, self._unbalanced(state), 0.0)

    def unbalanced(self, state: State) -> float:
        """Return the largest force (N) that is left where the nodes are free."""
        return float(np.abs(self._unbalanced(state)[self.motion.unknown != FIXED]).max())

    def image_gap(self, state: State, other: Solid, image: State, mirror: Array) -> float:
        """Return how far a state is from that of a mirrored body, share of its displacement."""
        far, partner = cKDTree(other.body.nodes).query(self.body.nodes @ mirror)
        assert np.max(far) < 1e-6, "the meshes are no mirror images"
        gap = image.displacement[partner] - state.displacement @ mirror
        return float(np.abs(gap).max() / np.abs(state.displacement).max())

    def push_gap(self, state: State) -> float:
        """Return how far the volume's slopes are from the push on the bore, share of the largest.

        At the nodes that are free both are the forces of unit pressure on the bore as it is now.
        """
        self.field.set(state.displacement, np.zeros((len(self.body.connectivity), PRESSURES)))
        slopes, push = (
            self.motion.assemble(forces[:, :DISPLACEMENTS])
            for forces in (self.bore.gradient(), bore_force(self.field).assemble())
        )
        return float(np.abs(slopes - push).max() / np.abs(push).max())

    def moved(self, state: State, *point: float) -> Array:
        """Return where the node that rests nearest to `point` has come to (mm)."""
        node = np.linalg.norm(self.body.nodes - point, axis=1).argmin()
        return self.body.nodes[node] + state.displacement[node]

    def found(self, *quantities: Quantity) -> list[Quantity]:
        """Return figures of this body, with its cells."""
        mesh = "x".join(map(str, self.body.cells))
        return [replace(quantity, by="FE", mesh=mesh) for quantity in quantities]
