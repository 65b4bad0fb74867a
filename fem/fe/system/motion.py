r"""Admissible motions q -> u, with cyclic symmetry and rigid end plates.

Chart. A node at rest at (R, Theta, Z) has the increments c = (r - R, R (theta - Theta), z - Z), all
in mm. The constraints below are linear in c for any twist. In the current frame (e_r, e_theta,
e_z), the position x = (r cos theta, r sin theta, z) has the derivative

.. math:: \partial x / \partial c = [e_r, (r/R) e_\theta, e_z] \qquad (1)

and, contracted with a force f on the node, the second derivative

.. math:: f \cdot \partial^2 x / \partial c^2 =
   \begin{bmatrix} 0 & f_\theta / R \\ f_\theta / R & -f_r r / R^2 \end{bmatrix} \qquad (2)

in (c_1, c_2), zero elsewhere.

Constraints (multi-point). Every increment is a multiple of one unknown, or zero:

- base plate: fixed;
- free end, rigid: c = (0, R phi, w) with the unknowns b phi and w (b the outer radius, so that all
  unknowns are lengths);
- cut faces of a sector: the end cut repeats the start cut.

With T the derivative of u by q, the reduced residual is T'r and the reduced stiffness
T'KT + (2), assembled here from cell vectors and matrices.

See also eqs. (36) and (37) of docs/theory.md.

Source: chain rule, derived here. In trials of this method, a Cartesian chart (the increments of a
node are its displacements) did not converge for a tube with one family of stiff threads.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np

from fem.core.arrays import Array, Index
from fem.fe.mesh.body import NODES, Body
from fem.fe.wall.cell_forms import DISPLACEMENTS

FIXED = -1
"""Number of the unknown of a fixed increment."""


class Motion:
    """The map from unknowns q, shape (size,), to nodal displacements, shape (nodes, 3), mm.

    Attributes
    ----------
    size
        Number of unknowns; the last two are the twist b phi and the displacement w of the free end.
    unknown, scale
        Increment c[node, i] = scale[node, i] * q[unknown[node, i]], or zero where FIXED.
    master
        Master node of each node, which it repeats rotated by a sector; else the node itself; shape
        (nodes,).
    """

    def __init__(self, body: Body, outer_radius: float) -> None:
        self.body = body
        self.outer_radius = outer_radius
        x, y, z = body.nodes.T
        self._radius, self._theta, self._z = np.hypot(x, y), np.arctan2(y, x), z
        self.unknown, self.scale, self.size = self._constraints()

    def _constraints(self) -> tuple[Index, Array, int]:
        nodes = len(self.body.nodes)
        self.master = master = np.arange(nodes)
        if self.body.sectors > 1:
            start, end = self.body.on("start cut"), self.body.on("end cut")
            start, end = self._in_order(start), self._in_order(end)
            gap = np.hypot(*(part[start] - part[end] for part in (self._radius, self._z)))
            assert gap.max() < 1e-6 * self.outer_radius, "cut faces do not match"
            master[end] = start
        free = np.setdiff1d(master, [*self.body.on("base"), *self.body.on("free end")])
        number = np.full(nodes, FIXED)
        number[free] = np.arange(len(free))
        number = number[master]
        unknown = np.where(number[:, None] == FIXED, FIXED, 3 * number[:, None] + np.arange(3))
        scale = np.ones((nodes, 3))
        twist, displacement = 3 * len(free), 3 * len(free) + 1
        plate = self.body.on("free end")
        unknown[plate] = [FIXED, twist, displacement]
        scale[plate, 1] = self._radius[plate] / self.outer_radius
        scale[unknown == FIXED] = 0.0
        return unknown, scale, displacement + 1

    def _in_order(self, nodes: Index) -> Index:
        """Return nodes of a cut face by layers along the axis, and from the bore outwards in each.

        The sort key of a layer exceeds that of the one below by twice the wall thickness, so that
        round-off in the positions cannot change the order.
        """
        layer = self._z.max() / (2 * self.body.cells.axial)
        wall = np.ptp(self._radius)
        return nodes[np.argsort(self._radius[nodes] + 2 * wall * self._z[nodes] / layer)]

    def increments(self, q: Array) -> Array:
        """Return the increments c of all nodes, shape (nodes, 3), mm."""
        return self.scale * np.append(q, 0.0)[self.unknown]

    def polar(self, q: Array) -> tuple[Array, Array, Array]:
        """Return the current r (mm), theta - Theta (rad) and z (mm) of all nodes."""
        c = self.increments(q)
        return self._radius + c[:, 0], c[:, 1] / self._radius, self._z + c[:, 2]

    def displacement(self, q: Array) -> Array:
        """Return the nodal displacements, shape (nodes, 3), mm."""
        r, rotation, z = self.polar(q)
        theta = self._theta + rotation
        return np.column_stack([r * np.cos(theta), r * np.sin(theta), z]) - self.body.nodes

    def twist(self, q: Array) -> float:
        """Return the twist phi of the free end (rad)."""
        return float(q[-2]) / self.outer_radius

    def end_displacement(self, q: Array) -> float:
        """Return the axial displacement w of the free end (mm)."""
        return float(q[-1])

    def end_load_vectors(self) -> Array:
        """Return the derivatives of end displacement and twist by the unknowns, shape (size, 2)."""
        vectors = np.zeros((self.size, 2))
        vectors[-1, 0], vectors[-2, 1] = 1.0, 1 / self.outer_radius
        return vectors

    def tangent(self, q: Array) -> Array:
        """Return dx/dq of each node, eq. (1) times `scale`; shape (nodes, 3, 3)."""
        r, rotation, _ = self.polar(q)
        theta, stretch = self._theta + rotation, r / self._radius
        cos, sin = np.cos(theta), np.sin(theta)
        zero, one = np.zeros_like(r), np.ones_like(r)
        rows = [[cos, -stretch * sin, zero], [sin, stretch * cos, zero], [zero, zero, one]]
        return np.moveaxis(np.array(rows), 2, 0) * self.scale[:, None, :]

    def curvature(self, q: Array, force: Array) -> Array:
        """Return eq. (2) times `scale` for forces on the nodes of each cell.

        Parameters
        ----------
        q
            Unknowns, shape (size,).
        force
            Cartesian forces, shape (cells, 27, 3), N.

        Returns
        -------
        Array
            Shape (cells, 27, 3, 3).
        """
        nodes = self.body.connectivity
        r, rotation, _ = (part[nodes] for part in self.polar(q))
        radius, theta = self._radius[nodes], self._theta[nodes] + rotation
        outward = force[..., 0] * np.cos(theta) + force[..., 1] * np.sin(theta)
        sideways = force[..., 1] * np.cos(theta) - force[..., 0] * np.sin(theta)
        second = np.zeros((*nodes.shape, 3, 3))
        second[..., 0, 1] = second[..., 1, 0] = sideways / radius
        second[..., 1, 1] = -outward * r / radius**2
        scale = self.scale[nodes]
        return second * scale[..., :, None] * scale[..., None, :]

    def pull_back(self, tangent: Array, columns: Array, cells: Any = slice(None)) -> Array:
        """Return T' times the displacement rows of arrays of `cells`, shape (n, 81, any)."""
        count, _, width = columns.shape
        by_node = columns.reshape(count, NODES, 3, width)
        product = np.matmul(tangent[self.body.connectivity[cells]].swapaxes(-1, -2), by_node)
        return product.reshape(count, DISPLACEMENTS, width)

    @cached_property
    def cell_unknowns(self) -> Index:
        """Unknown of each cell displacement, `size` where it is fixed; shape (cells, 81)."""
        unknown = np.where(self.unknown == FIXED, self.size, self.unknown)
        return unknown[self.body.connectivity].reshape(-1, DISPLACEMENTS)

    def assemble(self, cell_vectors: Array) -> Array:
        """Assemble cell vectors that are pulled back, shape (cells, 81); shape (size,)."""
        summed = np.bincount(self.cell_unknowns.ravel(), cell_vectors.ravel(), self.size + 1)
        return summed[: self.size]

    def assemble_columns(self, vectors: Array, cells: Index, column: Index) -> Array:
        """Assemble vectors of `cells` that are pulled back, shape (n, 81), each into its `column`.

        Returns
        -------
        Array
            Shape (size, columns).
        """
        count = int(column.max()) + 1
        entry = self.cell_unknowns[cells] * count + column[:, None]
        summed = np.bincount(entry.ravel(), vectors.ravel(), (self.size + 1) * count)
        return summed.reshape(-1, count)[: self.size]
