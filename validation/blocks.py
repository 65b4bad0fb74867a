"""Meshes of bodies that are not tubes: blocks of hexahedra whose quadratic nodes are mapped."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import fem.fe  # noqa: F401 - the solver's wheel must be imported before dolfinx

# isort: split
import basix
import basix.ufl
import dolfinx.fem
import dolfinx.mesh
import numpy as np
from mpi4py import MPI

from fem.core.arrays import Array
from fem.fe.mesh.body import Body, hexahedron
from meshes.tube import GROUPS, Cells

EDGE = np.array([[-3, 4, -1], [-4, 0, 4], [1, -4, 3]]) / 6
"""Exact integrals over a quadratic edge of each shape function times the slope of each."""


def area_beside(across: Array, along: Array) -> float:
    """Return the exact area (mm2) between an axis and a line of quadratic edges.

    `across` and `along` are the coordinates of the line's nodes, in their order.
    """
    edges = np.arange(0, len(along) - 2, 2)[:, None] + np.arange(3)
    return float(abs(np.einsum("ei,ij,ej", across[edges], EDGE, along[edges])))


@dataclass(frozen=True)
class Block:
    """A block of hexahedra: cell counts along its three edges, and the map of its unit cube.

    Attributes
    ----------
    counts
        Cells along each edge.
    place
        Maps points of the unit cube, shape (n, 3), to points of the body (mm).
    """

    counts: tuple[int, int, int]
    place: Callable[[Array], Array]


def merged_blocks(
    blocks: Sequence[Block], cells: Cells, faces: dict[str, Callable[[Array], Any]]
) -> Body:
    """Mesh blocks that share the nodes of common faces.

    Parameters
    ----------
    blocks
        The blocks.
    cells
        Cell counts of the body.
    faces
        For names of `GROUPS`: which points, shape (3, n), lie on that face.
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

        A square of `around`/2 cells a side covers the apex, and `along` more cells continue from
        there to the base, so that no cell is degenerate.
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

        return merged_blocks(blocks, Cells(through, around, half + along), {"bore": on_bore})

    def free(self, body: Body, base: tuple[bool, bool, bool]) -> Array:
        """Return which components are free, shape (nodes, 3); `base` gives those of the base."""
        near = 1e-6 * self.outer[0]
        free = np.ones_like(body.nodes, dtype=bool)
        free[body.nodes[:, 2] > self.base - near] = base
        free[:, :2] &= np.abs(body.nodes[:, :2]) > near
        return free

    def _at(self, disc: Array, depth: Array) -> Array:
        """Return points of the wall for points of the unit disc and relative depths."""
        depth = depth[:, None]
        return depth * self._on(self.inner, disc) + (1 - depth) * self._on(self.outer, disc)

    def _on(self, axes: tuple[float, float], disc: Array) -> Array:
        """Return points of an ellipsoid; the radius in the disc is the relative polar angle."""
        across, axial = axes
        most = np.arccos(-self.base / axial)
        angle = most * np.hypot(*disc.T)
        spread = across * most * np.sinc(angle / np.pi)  # also at the apex, where both are zero
        return np.column_stack([spread[:, None] * disc, -axial * np.cos(angle)])


SQUARE, CORNER = 0.4, 0.32
"""Corners of the square about the centre of the unit disc: on the axes, and on x = y."""


def _square(s: Array, t: Array) -> Array:
    """Return points of the disc in the square about its centre."""
    bulge = (CORNER - SQUARE) * s * t
    return np.column_stack([SQUARE * s + bulge, SQUARE * t + bulge])


def _side(s: Array, t: Array) -> Array:
    """Return points of the disc between the square and the rim, from the x-axis to x = y."""
    turn = t * np.pi / 4
    rim = np.column_stack([np.cos(turn), np.sin(turn)])
    return (1 - s[:, None]) * _square(np.ones_like(t), t) + s[:, None] * rim
