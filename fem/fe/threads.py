r"""Threads immersed in the wall mesh: curves of links, one sparse operator a family.

A thread at rest is a curve X(s) on the tube with unit tangent a(s). At its quadrature points the
stretched tangent is linear in the displacement,

.. math:: g = F a = a + (\nabla u) a = a + B u, \qquad \lambda = |g|, \qquad (1)

where B holds the derivatives along a of the host cell's basis functions, found once: setting
another angle needs no new mesh. A thread is a chain of links, a link to each passage through a
cell, each with one tension from its own length,

.. math:: T = EA\, h(\ell / \ell_0 - 1), \qquad \ell = \sum w \lambda. \qquad (2)

With G the derivative of the length, G = sum w g/lambda B, the forces and the stiffness are

.. math:: f = T G, \qquad
   K = \frac{1}{\ell_0} \frac{dT}{de} G^T G
     + \sum \frac{w T}{\lambda} B^T (I - \hat g \hat g^T) B. \qquad (3)

Were the law applied point by point instead, the strain of a stiff thread would oscillate inside
a cell and a law that knows only tension would rectify it: the mean tension comes out 12 % high.

In a sector, the passages of a thread through the other sectors are turned back into it; its
cells then carry the passages of all threads.

Source: derived here (chain rule).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.arrays import Array, Index
from fem.fe.body import Body, ResolutionError, hexahedron
from fem.fe.broken import DISPLACEMENTS, NODES
from fem.thread import ThreadFamily
from meshes.tube import GROUPS

POINTS = 3
"""Gauss points in a link."""


@dataclass(frozen=True)
class Passages:
    """Where the threads of one family run, passage by passage in their order along each thread.

    Attributes
    ----------
    thread
        Number of the thread in the body, from 0; shape (links,).
    z
        Ends of the passage at rest, shape (links, 2), mm.
    theta
        Azimuth of these ends, not turned back; shape (links, 2), rad.
    """

    thread: Index
    z: Array
    theta: Array


def find_passages(family: ThreadFamily, radius: float, body: Body) -> Passages:
    """Cut the threads that belong to `body` where they cross from cell to cell.

    A helix crosses the mesh planes normal to the axis at given z, and those through the axis where
    theta_0 + z tan(alpha)/R is a multiple of their spacing.
    """
    length = float(body.nodes[:, 2].max())
    spacing = 2 * np.pi / (body.sectors * body.cells.around)
    rate = family.turn_rate(radius)
    floors = np.linspace(0.0, length, body.cells.axial + 1)
    parts = []
    for number in range(family.count // body.sectors):
        start = 2 * np.pi * number / family.count
        low, high = np.sort([start, start + rate * length]) / spacing
        planes = np.arange(np.ceil(low), np.floor(high) + 1) * spacing
        crossings = (planes - start) / rate if rate else np.empty(0)
        cuts = np.sort(np.concatenate([floors, np.clip(crossings, 0.0, length)]))
        cuts = cuts[np.append(True, np.diff(cuts) > 1e-9 * length)]
        cuts[-1] = length
        z = np.column_stack([cuts[:-1], cuts[1:]])
        parts.append((np.full(len(z), number), z, start + rate * z))
    thread, z, theta = (np.concatenate(column) for column in zip(*parts, strict=True))
    return Passages(thread, z, theta)


class ImmersedFamily:
    """The threads of one family in a body.

    Parameters
    ----------
    family, radius, body
        The threads, the radius of their helix (mm), and the mesh they run in.

    Attributes
    ----------
    passages
        The links, one to a passage.
    host
        Cell of each link, shape (links,).
    rest
        Length of each link at rest, shape (links,), mm.
    """

    def __init__(self, family: ThreadFamily, radius: float, body: Body) -> None:
        self.family = family
        self.passages = find_passages(family, radius, body)
        gauss, weights = np.polynomial.legendre.leggauss(POINTS)
        extent = np.diff(self.passages.z, axis=1)
        self._weights = extent / np.cos(family.angle) * weights / 2  # (links, points)
        self.rest = self._weights.sum(axis=1)
        fraction = (gauss + 1) / 2
        z = self.passages.z[:, :1] + extent * fraction
        theta = self.passages.theta[:, :1] + np.diff(self.passages.theta, axis=1) * fraction
        self.host, sector = _hosts(self.passages, body)
        self._back = sector * 2 * np.pi / body.sectors
        theta -= self._back[:, None]
        sin, cos = np.sin(family.angle), np.cos(family.angle)
        self._tangent = np.stack(
            [-sin * np.sin(theta), sin * np.cos(theta), np.full_like(z, cos)], axis=-1
        )
        self._nodes = body.connectivity[self.host]
        _, slopes = _basis(body, self.host, _on_tube(radius, theta, z))
        jacobian = np.einsum("lni,lpnj->lpij", body.nodes[self._nodes], slopes)
        inward = np.linalg.solve(jacobian, self._tangent[..., None])  # d(xi)/ds
        self._derivative = (slopes @ inward)[..., 0]  # B, (links, points, 27)
        ends = _on_tube(radius, self.passages.theta - self._back[:, None], self.passages.z)
        self._at_ends, _ = _basis(body, self.host, ends)
        self._rest_position = body.nodes[self._nodes]

    def stretch(self, displacement: Array) -> tuple[Array, Array]:
        """Return lambda and g/lambda of eq. (1), shapes (links, points) and (links, points, 3)."""
        stretched = self._tangent + self._derivative @ displacement[self._nodes]
        stretch = np.linalg.norm(stretched, axis=-1)
        return stretch, stretched / stretch[..., None]

    def strain(self, displacement: Array) -> Array:
        """Return the strain of each link, shape (links,), for nodal displacements (nodes, 3)."""
        stretch, _ = self.stretch(displacement)
        return np.asarray((self._weights * stretch).sum(axis=1) / self.rest - 1.0)

    def positions(self, displacement: Array) -> Array:
        """Return the current ends of each link, not turned back, shape (links, 2, 3), mm."""
        x, y, z = np.moveaxis(
            self._at_ends @ (self._rest_position + displacement[self._nodes]), -1, 0
        )
        cos, sin = np.cos(self._back)[:, None], np.sin(self._back)[:, None]
        return np.stack([cos * x - sin * y, sin * x + cos * y, z], axis=-1)

    def energy(self, displacement: Array) -> float:
        """Return the energy stored in the body's threads (N mm)."""
        return float(self.rest @ self.family.energy(self.strain(displacement)))

    def _length_gradient(self, direction: Array) -> Array:
        """Return G, shape (links, 27, 3)."""
        weighted = self._weights[..., None] * self._derivative  # (links, points, 27)
        return weighted.swapaxes(1, 2) @ direction

    def forces(self, displacement: Array) -> Array:
        """Return f of eq. (3), shape (links, 81), N."""
        _, direction = self.stretch(displacement)
        tension, _ = self.family.tension(self.strain(displacement))
        forces = tension[:, None, None] * self._length_gradient(direction)
        return forces.reshape(-1, DISPLACEMENTS)

    def stiffness(self, displacement: Array) -> Array:
        """Return K of eq. (3), shape (links, 81, 81), N/mm.

        It is written as A'A: one row of A holds G, the others hold B across the thread.
        """
        stretch, direction = self.stretch(displacement)
        tension, slope = self.family.tension(self.strain(displacement))
        along = np.sqrt(slope / self.rest)[:, None] * self._length_gradient(direction).reshape(
            -1, DISPLACEMENTS
        )
        across = np.eye(3) - direction[..., :, None] * direction[..., None, :]
        across *= np.sqrt(self._weights * tension[:, None] / stretch)[..., None, None]
        sideways = self._derivative[..., None, :, None] * across[..., :, None, :]
        rows = np.concatenate(
            [along[:, None, :], sideways.reshape(len(along), -1, DISPLACEMENTS)], axis=1
        )
        return rows.swapaxes(1, 2) @ rows


def _hosts(passages: Passages, body: Body) -> tuple[Any, Any]:
    """Return for each passage its cell and the number of sectors it is turned back by."""
    around, axial = body.cells.around, body.cells.axial
    spacing = 2 * np.pi / (body.sectors * around)
    length = float(body.nodes[:, 2].max())

    def place(theta: Array, z: Array) -> tuple[Any, Any]:
        column = np.floor(theta / spacing).astype(int)
        return column, np.clip((z / length * axial).astype(int), 0, axial - 1)

    body.mesh.topology.create_connectivity(2, 3)
    cells_at = body.mesh.topology.connectivity(2, 3)
    outer = np.concatenate([cells_at.links(f) for f in body.facets.find(GROUPS["outer"])])
    x, y, z = body.nodes[body.connectivity[outer]].mean(axis=1).T
    grid = np.empty((around, axial), dtype=int)
    grid[place(np.arctan2(y, x) % (2 * np.pi), z)] = outer
    column, floor = place(passages.theta.mean(axis=1), passages.z.mean(axis=1))
    return grid[column % around, floor], column // around


def _on_tube(radius: float, theta: Array, z: Array) -> Array:
    return np.stack([radius * np.cos(theta), radius * np.sin(theta), z], axis=-1)


def _basis(body: Body, host: Any, points: Array) -> tuple[Array, Array]:
    """Return the host's basis functions N at points, and dN/dxi.

    Parameters
    ----------
    body, host
        The mesh and the cell of each link, shape (links,).
    points
        Shape (links, points, 3), mm.

    Returns
    -------
    tuple
        Shapes (links, points, 27) and (links, points, 27, 3).

    Raises
    ------
    ResolutionError
        If the points are not found in the cells, as in a wall of less than a thousandth of its
        radius, say.
    """
    geometry = body.mesh.geometry
    corners = geometry.x[geometry.dofmaps[0][host]]
    pull_back = geometry.cmaps[0].pull_back
    try:
        reference = [
            pull_back(x, corner, tol=1e-9) for x, corner in zip(points, corners, strict=True)
        ]
    except RuntimeError:
        raise ResolutionError(
            "the wall is too thin for its radius to be meshed: its threads find no cell"
        ) from None
    table = hexahedron().basix_element.tabulate(1, np.concatenate(reference))[..., 0]
    value, *slopes = (part.reshape(*points.shape[:2], NODES) for part in table)
    return value, np.stack(slopes, axis=-1)
