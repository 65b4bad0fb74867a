r"""The surfaces of the wall as triangles: outside, bore, and the cut faces of a removed wedge.

Cells of the mesh share faces of nine nodes. Nodes at the same position at rest are merged; a face
whose middle node belongs to only one cell is on the boundary. When the cells of a wedge are
removed, interior faces become boundary faces: these close the cut. The triangles therefore follow
from the body at rest, and only points, normals and values change along a path.

A face is drawn by six triangles on its edge nodes, or by two on its corners if there are enough
faces for a round tube: between corners 10 deg apart the chord of a circle of radius r deviates by
at most r (1 - cos 5 deg) = 0.004 r.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from fem.case.tube import Tube
from fem.core.arrays import Array, Index, Mask
from fem.quantities.shape import LATTICE, Shape, turned

FRONT = -math.pi / 2
"""Azimuth at rest of the side that faces the viewer (rad)."""

WEDGE = math.radians(50)
"""Angle from the front, at rest, up to which cells are removed from a tube cut open (rad)."""

MERGE_DISTANCE = 1e-4
"""Distance over the wall thickness below which nodes are merged: files have six digits."""

FINE_OUTSIDE, FINE_BORE, FINE_ENDS = 2500, 300, 30
"""Numbers of faces outside, in the bore and at the ends up to which six triangles are drawn."""


def _faces() -> Index:
    """Return the nodes of each face of a cell, shape (6, 9): around its edges, then its middle."""
    edge = [(0, 0), (1, 0), (2, 0), (2, 1), (2, 2), (1, 2), (0, 2), (0, 1), (1, 1)]
    places = {tuple(place): node for node, place in enumerate(LATTICE.tolist())}
    return np.array(
        [
            [places[tuple(np.insert(step, axis, side).tolist())] for step in edge]
            for axis in range(3)
            for side in (0, 2)
        ]
    )


FACES = _faces()
CURVED = np.array([[7, 0, 1], [1, 2, 3], [3, 4, 5], [5, 6, 7], [1, 3, 5], [1, 5, 7]])
FLAT = np.array([[0, 2, 4], [0, 4, 6]])
"""Triangles on the nodes of a face: six on its edges, or two on its corners.

The six share the line from 1 to 5, between the middles of the edges that are curved at rest.
"""


@dataclass(frozen=True)
class Surface:
    """A part of the surface of the wall.

    Attributes
    ----------
    nodes
        Indices of its points among the nodes of the complete tube, shape (points,).
    triangles, opened
        Corners of the triangles among the points, shape (triangles, 3): of the complete tube, and
        of the tube cut open.
    """

    nodes: Index
    triangles: Index
    opened: Index

    def normals(self, points: Array) -> Array:
        """Return unit normals at the present points, shape (points, 3)."""
        triangles = self.triangles if len(self.triangles) else self.opened
        return vertex_normals(points, triangles)

    def joined(self, other: Surface) -> Surface:
        """Return both surfaces as one, with a sharp edge between them."""
        points = len(self.nodes)
        return Surface(
            np.concatenate([self.nodes, other.nodes]),
            np.concatenate([self.triangles, other.triangles + points]),
            np.concatenate([self.opened, other.opened + points]),
        )

    def only_cut(self) -> Surface:
        """Return the surface as one that exists only in the tube cut open."""
        return replace(self, triangles=self.triangles[:0])


class WallSurfaces:
    """The surfaces of a body, found once for all its states.

    Parameters
    ----------
    shape
        The body.
    tube
        Its dimensions.

    Attributes
    ----------
    outside, bore
        The two sides of the wall.
    cut
        The faces that close the wall of the tube cut open.
    wedge
        Azimuths at rest between which cells are removed, from the front (rad).
    """

    def __init__(self, shape: Shape, tube: Tube) -> None:
        self._sectors = shape.sectors
        rest = turned(shape.nodes, shape.sectors)
        node = _merged(rest, MERGE_DISTANCE * tube.wall)
        offset = len(shape.nodes) * np.arange(shape.sectors)[:, None, None]
        cells = node[(shape.connectivity[None] + offset).reshape(-1, 27)]
        faces = cells[:, FACES].reshape(-1, 9)
        host = np.repeat(np.arange(len(cells)), len(FACES))
        removed = np.abs(from_front(rest[cells[:, -1]])) < WEDGE  # by the middle of each cell
        edges = from_front(rest[cells[removed]]).ravel()
        self.wedge = (float(edges.min(initial=0.0)), float(edges.max(initial=0.0)))
        kept = ~removed[host]
        bounds = _on_boundary(faces[:, 8], np.ones(len(faces), dtype=bool))
        radius = np.hypot(rest[faces, 0], rest[faces, 1])  # (faces, 9)
        tolerance = 0.02 * tube.wall
        outer = bounds & (radius > tube.outer_radius - tolerance).all(axis=1)
        inner = bounds & (radius < tube.bore_radius + tolerance).all(axis=1)
        ends = bounds & ~outer & ~inner & (np.ptp(rest[faces, 2], axis=1) < tolerance)
        interior = _on_boundary(faces[:, 8], kept) & ~bounds
        self._faces, self._kept = _oriented(faces, cells, rest), kept
        self.outside = self._surface(outer, FINE_OUTSIDE)
        self.bore = self._surface(inner, FINE_BORE).joined(self._surface(ends, FINE_ENDS))
        self.cut = self._surface(interior, FINE_OUTSIDE).only_cut()

    def _surface(self, chosen: Mask, fine: int) -> Surface:
        """Return the surface of the chosen faces, with six triangles each if at most `fine`."""
        faces = self._faces[chosen]
        corners = faces[:, CURVED if len(faces) <= fine else FLAT]  # (faces, triangles, 3)
        nodes, inverse = np.unique(corners, return_inverse=True)
        triangles = inverse.reshape(corners.shape)
        opened = triangles[self._kept[chosen]]
        return Surface(nodes, triangles.reshape(-1, 3), opened.reshape(-1, 3))

    def positions(self, shape: Shape) -> Array:
        """Return the present positions of the nodes of the complete tube, shape (nodes, 3), mm."""
        return turned(shape.nodes + shape.displacement, self._sectors)

    def stretch(self, shape: Shape) -> Array:
        """Return the largest principal stretch at the nodes of the complete tube, (nodes,)."""
        return np.tile(shape.stretch, self._sectors)


def _merged(points: Array, distance: float) -> Index:
    """Return for each point the index of the first point at its position, shape (points,)."""
    from scipy.sparse import coo_array  # slow to import
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import KDTree

    pairs = KDTree(points).query_pairs(distance, output_type="ndarray")
    count = len(points)
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), (count, count))
    _, label = connected_components(links, directed=False)
    _, first = np.unique(label, return_index=True)
    return np.asarray(first[label])


def _on_boundary(middle: Index, kept: Mask) -> Mask:
    """Return whether each kept face belongs to only one kept cell, by the nodes in its middle."""
    cells = np.bincount(middle[kept], minlength=middle.max() + 1)
    return np.asarray(kept & (cells[middle] == 1))


def from_front(points: Array) -> Array:
    """Return the azimuth of points, shape (..., 3), from the front, within half a turn (rad)."""
    angle = np.arctan2(points[..., 1], points[..., 0]) - FRONT
    return np.asarray((angle + np.pi) % (2 * np.pi) - np.pi)


def _oriented(faces: Index, cells: Index, rest: Array) -> Index:
    """Return faces, shape (faces, 9), counter-clockwise as seen from outside their cell.

    The first edge is the most curved one.
    """
    first, second, last, middle = (rest[faces[:, k]] for k in (0, 2, 6, 8))
    normal = np.cross(second - first, last - first)
    out = middle - np.repeat(rest[cells[:, -1]], len(FACES), axis=0)
    clockwise = np.einsum("ij,ij->i", normal, out) < 0
    faces = np.where(clockwise[:, None], faces[:, [0, 7, 6, 5, 4, 3, 2, 1, 8]], faces)
    first_bend, other_bend = (_bend(rest, faces[:, edge : edge + 3]) for edge in (0, 2))
    return np.where(
        (other_bend > first_bend)[:, None], faces[:, [2, 3, 4, 5, 6, 7, 0, 1, 8]], faces
    )


def _bend(rest: Array, edges: Index) -> Array:
    """Return the distance of the middles of edges, shape (edges, 3), from their chords (mm)."""
    first, middle, last = (rest[edges[:, k]] for k in range(3))
    return np.asarray(np.linalg.norm(middle - (first + last) / 2, axis=1))


def vertex_normals(points: Array, triangles: Index) -> Array:
    """Return unit normals at points, shape (points, 3): means of the triangles weighted by area."""
    a, b, c = (points[triangles[:, k]] for k in range(3))
    area_vectors = np.cross(b - a, c - a)
    sums = np.stack(
        [
            sum(np.bincount(triangles[:, k], area_vectors[:, axis], len(points)) for k in range(3))
            for axis in range(3)
        ],
        axis=-1,
    )
    size = np.linalg.norm(sums, axis=1, keepdims=True)
    return np.asarray(sums / np.where(size > 0, size, 1.0))
