r"""The second derivative of the enclosed volume, which is a cubic form.

With the positions x_a of the nodes of a face on the bore, and their basis functions N_a on the
reference face, the volume of :mod:`fem.fe.wall.energy` is, for any shape of the face at rest,

.. math:: V = \tfrac12 \int (x, y, 0) \cdot o\,(x_{,1} \times x_{,2})\, d\eta
            = o \sum M_{ai,bj,ck}\, x_{ai}\, x_{bj}\, x_{ck}, \qquad
   M_{ai,bj,ck} = \tfrac12 P_i\, \epsilon_{ijk} \int N_a N_{b,1} N_{c,2}\, d\eta, \qquad (1)

with P = (1, 1, 0), and o = 1 if the cross product points into the wall, else -1. Its second
derivative by the positions is linear in them,

.. math:: H_{\alpha\beta} = o\, S_{\alpha\beta\gamma}\, x_\gamma, \qquad (2)

where S, the sum of M over the six permutations of its indices, is the same for all faces with the
same local number in their cells. A bilinear form on the cell takes eight times as long: it computes
H for all 27 nodes, of which 9 are on the face.

Source: N. Nanson's formula for the reference face; (2) derived here.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations
from typing import Any

import basix
import numpy as np

from fem.core.arrays import Array, Index
from fem.fe.mesh.body import Body, hexahedron
from fem.fe.wall.cell_forms import BrokenField
from meshes.tube import GROUPS

CROSS = np.array([np.cross(e, np.eye(3)) for e in np.eye(3)]).swapaxes(1, 2)
"""Levi-Civita symbol: (a x b)_i = CROSS[j, i, k] a_j b_k."""

DEGREE = 5
"""Degree of the quadrature over a face, exact for eq. (1)."""

ACROSS = np.array([1.0, 1.0, 0.0])
"""P of eq. (1)."""


@dataclass(frozen=True)
class Faces:
    """Faces on the bore with the same local number in their cells.

    Attributes
    ----------
    cells
        Their cells, shape (faces,).
    nodes
        Local numbers of the nodes of the face in its cell, shape (9,).
    sense
        o, shape (faces,).
    form
        S, shape (27, 27, 27).
    """

    cells: Index
    nodes: Index
    sense: Array
    form: Array


class BoreHessian:
    """The second derivative of the enclosed volume, at the current state of the field."""

    def __init__(self, field: BrokenField) -> None:
        self._field = field
        self._faces = faces_on_bore(field.body)

    def add_to(self, matrices: Array, factor: float = 1.0) -> None:
        """Add `factor` times the second derivative to cell matrices, shape (cells, 85, 85)."""
        positions = self._field.positions()
        for faces in self._faces:
            x = positions[faces.cells][:, faces.nodes].reshape(len(faces.cells), -1)
            hessian = (factor * faces.sense[:, None] * x) @ faces.form.reshape(x.shape[1], -1)
            at = (3 * faces.nodes[:, None] + np.arange(3)).ravel()
            hessian = hessian.reshape(-1, len(at), len(at))
            matrices[faces.cells[:, None, None], at[:, None], at] += hessian


def faces_on_bore(body: Body) -> list[Faces]:
    """Return the faces on the bore, grouped by their local numbers in their cells."""
    topology = body.mesh.topology
    topology.create_connectivity(2, 3)
    topology.create_connectivity(3, 2)
    on_bore = body.facets.find(GROUPS["bore"])
    cells = np.array([topology.connectivity(2, 3).links(f)[0] for f in on_bore], dtype=int)
    faces_of = topology.connectivity(3, 2)
    numbers = np.array(
        [np.flatnonzero(faces_of.links(c) == f)[0] for c, f in zip(cells, on_bore, strict=True)]
    )
    return [_faces(body, cells[numbers == k], k) for k in np.unique(numbers).tolist()]


def _faces(body: Body, cells: Index, number: int) -> Faces:
    """Return the faces with a local number in `cells`."""
    element, cell = hexahedron().basix_element, basix.CellType.hexahedron
    nodes = np.array(element.entity_closure_dofs[2][number])
    corners = basix.geometry(cell)[basix.topology(cell)[2][number]]
    along = corners[1:3] - corners[0]  # the axes of the reference face
    points, weights = map(np.asarray, basix.make_quadrature(basix.CellType.quadrilateral, DEGREE))
    value, by_1, by_2 = _basis(element, corners[0] + points @ along, along, nodes)
    integral = np.einsum("q,qa,qb,qc->abc", weights, value, by_1, by_2)
    form = np.einsum("abc,i,jik->aibjck", integral / 2, ACROSS, CROSS).reshape(3 * [3 * len(nodes)])
    form = np.sum([form.transpose(order) for order in permutations(range(3))], axis=0)
    positions = body.nodes[body.connectivity[cells]]
    _, by_1, by_2 = _basis(element, corners.mean(axis=0, keepdims=True), along, nodes)
    on_face = positions[:, nodes]
    normal = np.cross((by_1 @ on_face)[:, 0], (by_2 @ on_face)[:, 0])
    inward = positions.mean(axis=1) - on_face.mean(axis=1)
    return Faces(cells, nodes, np.sign((normal * inward).sum(axis=1)), form)


def _basis(element: Any, points: Array, along: Array, nodes: Index) -> Array:
    """Return N_a, N_a,1 and N_a,2 at reference points, each of shape (points, nodes)."""
    value, *gradients = element.tabulate(1, points)[..., nodes, 0]
    return np.array([value, *np.tensordot(along, np.array(gradients), axes=1)])
