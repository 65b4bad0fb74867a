r"""Bodies that are not tubes, solved with the tube's own element, forms, condensation and Newton.

What the FE model owes to the tube is its mesh, its chart and its symmetry alone. Here the mesh is
put together from blocks of hexahedra whose quadratic nodes are mapped onto the body; the unknowns
are the Cartesian displacements of the nodes, those that are held left out. The rest is the
package's: the broken field and its potentials, the stored energy, the enclosed volume, the
condensed stiffness and its factors, and Newton's method under loading devices.

The enclosed volume comes from the field (x, y, 0)/2. Planes through the axis or normal to it do not
feel this field, so a cavity may be closed by planes of symmetry, or by a base across the axis that
does not move: at all nodes that are free its derivative is the push on the cavity's wall.

Of the three pairs of load and coordinate the pressure acts on this volume, the axial force as a
dead traction spread evenly over a face, on the mean displacement of that face; the third is idle.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import fem.fe  # noqa: F401 - the solver's wheel wants to come before dolfinx

# isort: split
import basix
import basix.ufl
import dolfinx.fem
import dolfinx.mesh
import numpy as np
import ufl
from mpi4py import MPI

from fem.arrays import Array
from fem.fe.assembly import Stiffness, System
from fem.fe.body import Body, hexahedron
from fem.fe.broken import DISPLACEMENTS, PRESSURES, BrokenField, CellVector, Potential
from fem.fe.model import CondensedTangent
from fem.fe.motion import HELD, Motion
from fem.fe.wall import QUADRATURE, WallStrain, bore_push, enclosed_volume
from fem.loading import AXIAL, PRESSURE, Loading, dead, held
from fem.newton import Tangent, correct
from meshes.tube import GROUPS, Cells
from validation.check import Quantity

LOADED = "outer"
"""The group of the face that bears the traction."""


@dataclass(frozen=True)
class Block:
    """A block of hexahedra: cell counts along its three edges, and where its unit cube goes.

    Attributes
    ----------
    counts
        Cells along each edge.
    place
        Maps points of the unit cube, shape (n, 3), to points of the body (mm).
    """

    counts: tuple[int, int, int]
    place: Callable[[Array], Array]


def put_together(
    blocks: Sequence[Block], cells: Cells, faces: dict[str, Callable[[Array], Any]]
) -> Body:
    """Mesh blocks whose common faces have nodes in common.

    Parameters
    ----------
    blocks
        The blocks.
    cells
        Counts to go by.
    faces
        Tells for names of `GROUPS` which points, shape (3, n), lie on that face.
    """
    local = np.rint(2 * hexahedron().basix_element.points).astype(int)
    points, corners, count = [], [], 0
    for block in blocks:
        size = tuple(2 * number + 1 for number in block.counts)
        nodes = np.indices(size).reshape(3, -1).T
        first = 2 * np.indices(block.counts).reshape(3, -1).T
        lattice = (first[:, None] + local).transpose(2, 0, 1)
        corners.append(np.ravel_multi_index(tuple(lattice), size) + count)
        points.append(block.place(nodes / (np.array(size) - 1)))
        count += len(nodes)
    everywhere = np.concatenate(points)
    rounded = np.round(everywhere, 6) + 0.0  # no negative zeros
    _, first, number = np.unique(rounded, axis=0, return_index=True, return_inverse=True)
    element: Any = basix.ufl.element(
        "Lagrange", "hexahedron", 2, basix.LagrangeVariant.equispaced, shape=(3,)
    )
    mesh = dolfinx.mesh.create_mesh(
        MPI.COMM_SELF, number[np.concatenate(corners)], element, everywhere[first]
    )
    return _body(mesh, cells, faces)


def _body(mesh: Any, cells: Cells, faces: dict[str, Callable[[Array], Any]]) -> Body:
    found = {
        GROUPS[name]: dolfinx.mesh.locate_entities_boundary(mesh, 2, on)
        for name, on in faces.items()
    }
    facets = np.concatenate(list(found.values()))
    tags = np.repeat(list(found), [len(group) for group in found.values()]).astype(np.int32)
    order = np.argsort(facets)
    space = dolfinx.fem.functionspace(mesh, ("Lagrange", 2))
    return Body(
        mesh=mesh,
        facets=dolfinx.mesh.meshtags(mesh, 2, facets[order], tags[order]),
        space=space,
        cells=cells,
        sectors=1,
        nodes=space.tabulate_dof_coordinates(),
        connectivity=np.asarray(space.dofmap.list),
    )


@dataclass(frozen=True)
class Bowl:
    """A quarter of the wall between two ellipsoids of revolution, cut off by a plane z = `base`.

    Attributes
    ----------
    inner, outer
        Semi-axes across and along the axis (mm); the apex is at negative z.
    base
        Height of the cut (mm).
    """

    inner: tuple[float, float]
    outer: tuple[float, float]
    base: float

    def mesh(self, through: int, around: int, along: int) -> Body:
        """Mesh with `through` cells in the wall, `around` the quarter, an even number.

        Round the apex lies a square of `around`/2 cells a side, and `along` more go on from there
        to the base, so that no cell is degenerate.
        """
        half = around // 2

        def mapped(disc: Callable[[Array, Array], Array]) -> Callable[[Array], Array]:
            return lambda unit: self._at(disc(unit[:, 0], unit[:, 1]), unit[:, 2])

        blocks = [
            Block((half, half, through), mapped(_square)),
            Block((along, half, through), mapped(_side)),
            Block((along, half, through), mapped(lambda s, t: _side(s, 1 - t)[:, ::-1])),
        ]
        across, axial = self.inner

        def on_bore(x: Array) -> Array:
            place = (x[0] ** 2 + x[1] ** 2) / across**2 + (x[2] / axial) ** 2
            return np.asarray(np.abs(place - 1) < 1e-6)

        return put_together(blocks, Cells(through, around, half + along), {"bore": on_bore})

    def free(self, body: Body, base: tuple[bool, bool, bool]) -> Array:
        """Return which components are free, shape (nodes, 3); those of the base are as stated."""
        near = 1e-6 * self.outer[0]
        free = np.ones_like(body.nodes, dtype=bool)
        free[body.nodes[:, 2] > self.base - near] = base
        free[:, :2] &= np.abs(body.nodes[:, :2]) > near
        return free

    def _at(self, disc: Array, depth: Array) -> Array:
        """Return points of the wall for points of the unit disc and shares of the thickness."""
        depth = depth[:, None]
        return depth * self._on(self.inner, disc) + (1 - depth) * self._on(self.outer, disc)

    def _on(self, axes: tuple[float, float], disc: Array) -> Array:
        """Return points of an ellipsoid; the radius in the disc is a share of the polar angle."""
        across, axial = axes
        most = np.arccos(-self.base / axial)
        angle = most * np.hypot(*disc.T)
        spread = across * most * np.sinc(angle / np.pi)  # even at the apex, where both are nil
        return np.column_stack([spread[:, None] * disc, -axial * np.cos(angle)])


SQUARE, CORNER = 0.4, 0.32
"""Where the square about the middle of the unit disc has its corners: on the axes, on x = y."""


def _square(s: Array, t: Array) -> Array:
    """Return points of the disc in the square about its middle."""
    bulge = (CORNER - SQUARE) * s * t
    return np.column_stack([SQUARE * s + bulge, SQUARE * t + bulge])


def _side(s: Array, t: Array) -> Array:
    """Return points of the disc between the square and the rim, from the x-axis to x = y."""
    turn = t * np.pi / 4
    rim = np.column_stack([np.cos(turn), np.sin(turn)])
    return (1 - s[:, None]) * _square(np.ones_like(t), t) + s[:, None] * rim


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
        self.unknown = np.full(free.shape, HELD)
        self.unknown[free] = np.arange(self.size)

    def displacement(self, q: Array) -> Array:
        """Return the nodal displacements, shape (nodes, 3), mm."""
        return np.append(q, 0.0)[self.unknown]


@dataclass(frozen=True)
class State:
    """A state of equilibrium.

    Attributes
    ----------
    displacement
        Of the nodes, shape (nodes, 3), mm.
    pressure
        On the bore (MPa).
    energy
        Stored in the meshed part (N mm).
    unstable
        Number of unstable directions, were the loads kept.
    """

    displacement: Array
    pressure: float
    energy: float
    unstable: int


class Solid:
    """A body as Newton's method sees it; see :class:`fem.newton.Model`.

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

    copies = 1  # the body is all that there is

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
        self.push = self._mean_push(traction) if traction else np.zeros(self.motion.size)
        self._cell_volume = np.ptp(body.nodes, axis=0).prod() / len(body.connectivity)

    def _mean_push(self, direction: tuple[float, float, float]) -> Array:
        """Return the nodal forces of 1 N spread evenly over the loaded face."""
        mesh, facets = self.body.mesh, self.body.facets
        area = ufl.Measure("ds", mesh, subdomain_data=facets, metadata=QUADRATURE)(GROUPS[LOADED])
        push, _ = ufl.split(ufl.TestFunction(self.field.space))
        form = ufl.inner(ufl.as_vector(direction), push) * area
        forces = CellVector(self.field, form).assemble()[:, :DISPLACEMENTS]
        return self.motion.gather(forces) / np.linalg.norm(forces.reshape(-1, 3).sum(axis=0))

    def rest(self) -> Array:
        """Return the state without load."""
        return np.zeros(self.motion.size + PRESSURES * len(self.body.connectivity))

    def _split(self, x: Array) -> tuple[Array, Array]:
        return x[: self.motion.size], x[self.motion.size :].reshape(-1, PRESSURES)

    def _set(self, x: Array) -> None:
        q, pressures = self._split(x)
        self.field.set(self.motion.displacement(q), pressures)

    def _join(self, gradient: Array) -> Array:
        forces = self.motion.gather(gradient[:, :DISPLACEMENTS])
        return np.append(forces, gradient[:, DISPLACEMENTS:])

    def energy(self, x: Array) -> float:
        """Return the stored energy (N mm)."""
        self._set(x)
        return self.wall.value()

    def internal(self, x: Array) -> Array:
        """Return the derivative of the energy by x."""
        self._set(x)
        return self._join(self.wall.gradient())

    def coordinates(self, x: Array) -> Array:
        """Return the volume (mm3) and the mean displacement of the loaded face (mm)."""
        self._set(x)
        return np.array([self.bore.value(), self.push @ self._split(x)[0], 0.0])

    def directions(self, x: Array) -> Array:
        """Return the derivatives of the coordinates by x, shape (n, 3)."""
        self._set(x)
        directions = np.zeros((len(x), 3))
        directions[:, PRESSURE] = self._join(self.bore.gradient())
        directions[: self.motion.size, AXIAL] = self.push
        return directions

    def tangent(self, x: Array, loads: Array) -> Tangent:
        """Return the factorised second derivative of energy - pressure * volume."""
        self._set(x)
        hessian = self.wall.hessian()
        self.bore.add_hessian(hessian, -loads[PRESSURE])
        tube: Any = self  # it asks no more of the model than this one has
        return CondensedTangent(tube, Stiffness(self.system, hessian))

    def error(self, residual: Array) -> float:
        """Return the largest out-of-balance force or volume strain, without dimension."""
        forces, strains = self._split(residual)
        return float(max(abs(forces).max() / self.scale, abs(strains).max() / self._cell_volume))

    def tighten(self, share: float) -> None:
        """Do nothing: there are no threads."""

    def wall_stretch(self, x: Array) -> float:
        """Return the largest principal stretch in the wall."""
        self._set(x)
        return float(self.strain.stretch().max())

    def follow(self, pair: int, values: Sequence[float], by_load: bool = True) -> list[State]:
        """Take one load, or its coordinate, through `values` from rest; the other loads are nil."""
        size = np.ptp(self.body.nodes, axis=0).max()
        loading = Loading(
            (dead(), dead(), dead()),
            self.scale * np.array([size**-2, 1.0, size]),
            np.array([size**3, size, 1.0]),
        ).driving(pair, dead() if by_load else held())
        x, loads = self.rest(), np.zeros(3)
        found = []
        for value in values:
            trial, _ = correct(self, loading.at(value), x, loads)
            x, loads = trial.x, trial.loads
            found.append(
                State(
                    displacement=self.motion.displacement(self._split(x)[0]),
                    pressure=loads[PRESSURE],
                    energy=self.energy(x),
                    unstable=self.tangent(x, loads).negative,
                )
            )
        return found

    def push_gap(self, state: State) -> float:
        """Return how far the volume's slopes are from the push on the bore, share of the largest.

        At the nodes that are free both are the forces of unit pressure on the bore as it is now.
        """
        self.field.set(state.displacement, np.zeros((len(self.body.connectivity), PRESSURES)))
        slopes, push = (
            self.motion.gather(forces[:, :DISPLACEMENTS])
            for forces in (self.bore.gradient(), bore_push(self.field).assemble())
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
