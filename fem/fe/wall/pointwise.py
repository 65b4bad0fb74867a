r"""The second derivative of an energy in the cells, from its tangent moduli at the points.

With the gradient of the displacement on the reference cell, G = sum_n u_n (x) dN_n/dxi, and the
energy psi(G, p) per volume of the reference cell, UFL provides the tangent moduli at the points

.. math:: A_{iJkL} = \frac{\partial^2 \psi}{\partial G_{iJ}\, \partial G_{kL}}, \qquad
   b_{iJ} = \frac{\partial^2 \psi}{\partial G_{iJ}\, \partial p}, \qquad
   c = \frac{\partial^2 \psi}{\partial p^2}. \qquad (1)

The matrix of a cell follows by the chain rule, with the sum over the points q and their weights w,

.. math:: K_{ni,mk} = \sum_{qJ} N_{n,qJ}\, T_{qJ,ikm}, \qquad
   T_{qJ,ikm} = \sum_L w_q A_{iJkL}\, N_{m,qL}, \qquad (2)

and likewise with the basis functions of the pressure for b and c. On the reference cell the basis
functions are the same for all cells, so (2) is two matrix products for many cells at once; by the
symmetry of K, six of its nine blocks (i, k) suffice. As a bilinear form the same matrix takes
several times as many operations: for each point and pair of components, products of all pairs of
basis functions and all pairs of their derivatives.

Source: derived here (chain rule).
"""

from __future__ import annotations

from typing import Any

import basix
import basix.ufl
import numpy as np
import ufl

from fem.core.arrays import Array
from fem.fe.mesh.body import NODES, hexahedron
from fem.fe.wall.cell_forms import DISPLACEMENTS, PRESSURES, BrokenField, cell_chunks
from fem.fe.wall.compiled import compile_expression

BLOCKS = [(0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)]
"""The pairs (i, k) of eq. (2) that are computed."""


class PointwiseHessian:
    """The second derivative of the integral of psi, at the current state of the field.

    Parameters
    ----------
    field
        The field.
    stiffness, coupling, compliance
        A, b and c of eq. (1) as UFL expressions, shapes (3, 3, 3, 3), (3, 3) and ().
    degree
        Degree of the quadrature.
    """

    def __init__(
        self, field: BrokenField, stiffness: Any, coupling: Any, compliance: Any, degree: int
    ) -> None:
        at, weights = basix.make_quadrature(basix.CellType.hexahedron, degree)
        points, self._weights = np.asarray(at), np.asarray(weights)
        axes = range(3)
        parts = [stiffness[i, J, k, L] for i, k in BLOCKS for J in axes for L in axes]
        parts += [coupling[i, J] for i in axes for J in axes]
        self._tangents = compile_expression(ufl.as_vector([*parts, compliance]), points)
        self._mesh = field.body.mesh
        self._cells = np.arange(len(field.body.connectivity), dtype=np.int32)
        gradients = hexahedron().basix_element.tabulate(1, points)[1:, :, :, 0]
        self._gradients = np.ascontiguousarray(np.moveaxis(gradients, 0, 1))  # N, (points, 3, 27)
        self._by_node = self._gradients.reshape(-1, NODES).T
        self._pressure = field.pressure.basix_element.tabulate(0, points)[0, :, :, 0]

    def add_to(self, matrices: Array, factor: float = 1.0) -> None:
        """Add `factor` times the second derivative to cell matrices, shape (cells, 85, 85)."""
        for chunk in cell_chunks(len(self._cells)):
            tangents = self._tangents.eval(self._mesh, self._cells[chunk])
            self._add(matrices[chunk], factor * self._weights[:, None] * tangents)

    def _add(self, matrices: Array, tangents: Array) -> None:
        """Add eq. (2) for tangents at the points, shape (cells, points, 64), weights included."""
        stiffness, coupling, compliance = np.split(tangents, [9 * len(BLOCKS), -1], axis=2)
        self._add_stiffness(matrices[:, :DISPLACEMENTS, :DISPLACEMENTS], stiffness)
        mixed = self._mixed(coupling)
        matrices[:, :DISPLACEMENTS, DISPLACEMENTS:] += mixed
        matrices[:, DISPLACEMENTS:, :DISPLACEMENTS] += mixed.swapaxes(1, 2)
        weighted = self._pressure.T * compliance.swapaxes(1, 2)
        matrices[:, DISPLACEMENTS:, DISPLACEMENTS:] += weighted @ self._pressure

    def _add_stiffness(self, matrices: Array, tangents: Array) -> None:
        """Add K for w A, shape (cells, points, 54), to matrices, shape (cells, 81, 81)."""
        cells, points, _ = tangents.shape
        A = tangents.reshape(cells, points, len(BLOCKS), 3, 3).transpose(1, 3, 0, 2, 4)
        T = A.reshape(points, 3, -1, 3) @ self._gradients[:, None]
        K = (self._by_node @ T.reshape(3 * points, -1)).reshape(NODES, cells, len(BLOCKS), NODES)
        within = matrices.reshape(cells, NODES, 3, NODES, 3)  # a view
        for block, (i, k) in enumerate(BLOCKS):
            within[:, :, i, :, k] += K[:, :, block].transpose(1, 0, 2)
            if i != k:
                within[:, :, k, :, i] += K[:, :, block].transpose(1, 2, 0)

    def _mixed(self, tangents: Array) -> Array:
        """Return the block of displacements and pressures for w b, shape (cells, points, 9)."""
        cells, points, _ = tangents.shape
        b = tangents.reshape(cells, points, 3, 3, 1).transpose(1, 3, 0, 2, 4)
        by_pressure = b * self._pressure[:, None, None, None, :]  # (points, J, cells, i, 4)
        mixed = (self._by_node @ by_pressure.reshape(3 * points, -1)).reshape(NODES, cells, -1)
        return mixed.transpose(1, 0, 2).reshape(cells, DISPLACEMENTS, PRESSURES)
