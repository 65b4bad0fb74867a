r"""Largest principal stretch at the nodes of the wall, on its faces as well as inside.

The motion of a cell and its gradient at a node follow from the 27 nodes,

.. math:: F = \frac{\partial x}{\partial \xi} \left(\frac{\partial X}{\partial \xi}\right)^{-1},
          \qquad C = F^T F,                                                             \tag{1}

The gradient is discontinuous between cells. So C is written in the polar frame at rest, in which
both cut faces of a sector agree, and each component is averaged over all cells at a node. The
largest stretch is the root of the largest principal value of that mean. A mean of stretches would
be too large: discontinuities of shear increase it, whatever their sign.

On the faces this is almost exact for a round tube. Inside the wall the edges of cells are chords,
and the error is of second order in their length: a few thousandths on the fine mesh.

At the rims of the plates the strain of the exact solution is unbounded: the value there grows with
refinement.

Source: chain rule; means at nodes are common practice, no source.
"""

from __future__ import annotations

import numpy as np

from fem.core.arrays import Array, Index
from fem.fe.mesh.body import Body, hexahedron
from fem.quantities.strain import largest_principal_stretch


class NodalStretch:
    """The largest principal stretch at the nodes of a body.

    Parameters
    ----------
    body
        The mesh.
    master
        Master node of each node, shape (nodes,); see :class:`fem.fe.system.motion.Motion`.
    """

    def __init__(self, body: Body, master: Index) -> None:
        self._cells = body.connectivity
        self._nodes = body.nodes
        self._master = master
        element = hexahedron().basix_element
        self._gradients = element.tabulate(1, element.points)[1:, ..., 0]  # (3, points, functions)
        self._node = master[self._cells].ravel()
        self._count = np.maximum(np.bincount(self._node, minlength=len(master)), 1)
        self._from_polar = np.linalg.inv(self._by_reference(self._nodes)) @ self._frames()

    def _by_reference(self, positions: Array) -> Array:
        """Return dx/dxi in each cell for positions, shape (nodes, 3); shape (cells, 27, 3, 3)."""
        return np.einsum("cni,jpn->cpij", positions[self._cells], self._gradients, optimize=True)

    def _frames(self) -> Array:
        """Return the polar unit vectors at rest as columns, shape (cells, 27, 3, 3)."""
        angle = np.arctan2(self._nodes[:, 1], self._nodes[:, 0])[self._cells]
        frames = np.zeros((*angle.shape, 3, 3))
        frames[..., 0, 0] = frames[..., 1, 1] = np.cos(angle)
        frames[..., 1, 0] = np.sin(angle)
        frames[..., 0, 1] = -frames[..., 1, 0]
        frames[..., 2, 2] = 1.0
        return frames

    def at(self, displacement: Array) -> Array:
        """Return the stretch under nodal displacements, shape (nodes, 3), mm; shape (nodes,)."""
        F = self._by_reference(self._nodes + displacement) @ self._from_polar
        by_cell = (F.swapaxes(-1, -2) @ F).reshape(-1, 9)
        sums = [np.bincount(self._node, part, len(self._count)) for part in by_cell.T]
        C = (np.array(sums) / self._count).T.reshape(-1, 3, 3)
        return largest_principal_stretch(C)[self._master]
