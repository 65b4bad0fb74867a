r"""The faces of the wall as triangles: outside, bore, and the faces of a wedge that is taken out.

Cells of the mesh meet in faces of nine nodes. Nodes of neighbouring cells are one where they stand
in one place at rest; a face whose middle node belongs to one cell only bounds the body. With the
cells of a wedge taken out, faces inside the wall become bounds too: these close the cut. So the
triangles follow from the body at rest, and only points, normals and values change along a path.

A face is drawn by six triangles on the nodes of its rim, or by two on its corners where there are
so many faces that the tube looks round without: between corners 10 deg apart the chord of a circle
of radius r stays within r (1 - cos 5 deg) = 0.004 r of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from fem.case.tube import Tube
from fem.core.arrays import Array, Index, Mask
from fem.quantities.shape import LATTICE, Shape, turned

FRONT = -math.pi / 2
"""Azimuth at rest of what faces the viewer (rad)."""

WEDGE = math.radians(50)
"""Cells whose middle is no further from the front, at rest, are taken out of a tube cut open."""

NEAR = 1e-4
"""Nodes closer than this share of the wall are one: files hold six digits."""

FINE_OUTSIDE, FINE_BORE, FINE_ENDS = 2500, 300, 30
"""Up to so many faces outside, in the bore and at the ends, each is drawn by six triangles."""


def _faces() -> Index:
    """Return the nodes of each face of a cell, shape (6, 9): a walk round its rim, its middle."""
    rim = [(0, 0), (1, 0), (2, 0), (2, 1), (2, 2), (1, 2), (0, 2), (0, 1), (1, 1)]
    places = {tuple(place): node for node, place in enumerate(LATTICE.tolist())}
    return np.array(
        [
            [places[tuple(np.insert(step, axis, side).tolist())] for step in rim]
            for axis in range(3)
            for side in (0, 2)
        ]
    )


FACES = _faces()
CURVED = np.array([[7, 0, 1], [1, 2, 3], [3, 4, 5], [5, 6, 7], [1, 3, 5], [1, 5, 7]])
FLAT = np.array([[0, 2, 4], [0, 4, 6]])
"""Triangles on the nodes of a face: six on its rim, or two on its corners.

The six have the ridge from 1 to 5, between the middles of the edges that are bent at rest.
"""


@dataclass(frozen=True)
class Surface:
    """A part of the surface of the wall.

    Attributes
    ----------
    nodes
        Which nodes of the whole tube its points are, shape (points,).
    triangles, opened
        Corners of the triangles among the points, shape (triangles, 3): of the whole tube, and of
        the tube cut open.
    """

    nodes: Index
    triangles: Index
    opened: Index

    def normals(self, points: Array) -> Array:
        """Return unit normals at the points, which are here now, shape (points, 3)."""
        shown = self.triangles if len(self.triangles) else self.opened
        return vertex_normals(points, shown)

    def beside(self, other: Surface) -> Surface:
        """Return both surfaces as one that keeps the edge between them."""
        points = len(self.nodes)
        return Surface(
            np.concatenate([self.nodes, other.nodes]),
            np.concatenate([self.triangles, other.triangles + points]),
            np.concatenate([self.opened, other.opened + points]),
        )

    def without_whole(self) -> Surface:
        """Return the surface as one that there is only in the tube cut open."""
        return replace(self, triangles=self.triangles[:0])


class WallSurfaces:
    """The surfaces of a body, found once for all states of it.

    Parameters
    ----------
    shape
        The body.
    tube
        Its sizes.

    Attributes
    ----------
    outside, bore
        The two sides of the wall.
    cut
        The faces that close the wall of a tube that is cut open; none but in that.
    wedge
        Azimuths at rest between which the cells are taken out, from the front (rad).
    """

    def __init__(self, shape: Shape, tube: Tube) -> None:
        self._sectors = shape.sectors
        rest = turned(shape.nodes, shape.sectors)
        node = _merged(rest, NEAR * tube.wall)
        offset = len(shape.nodes) * np.arange(shape.sectors)[:, None, None]
        cells = node[(shape.connectivity[None] + offset).reshape(-1, 27)]
        faces = cells[:, FACES].reshape(-1, 9)
        host = np.repeat(np.arange(len(cells)), len(FACES))
        removed = np.abs(from_front(rest[cells[:, -1]])) < WEDGE  # by the middle of each cell
        edges = from_front(rest[cells[removed]]).ravel()
        self.wedge = (float(edges.min(initial=0.0)), float(edges.max(initial=0.0)))
        kept = ~removed[host]
        bounds = _once(faces[:, 8], np.ones(len(faces), dtype=bool))
        radius = np.hypot(rest[faces, 0], rest[faces, 1])  # (faces, 9)
        near = 0.02 * tube.wall
        outer = bounds & (radius > tube.outer_radius - near).all(axis=1)
        inner = bounds & (radius < tube.bore_radius + near).all(axis=1)
        ends = bounds & ~outer & ~inner & (np.ptp(rest[faces, 2], axis=1) < near)
        across = _once(faces[:, 8], kept) & ~bounds
        self._faces, self._kept = _walked(faces, cells, rest), kept
        self.outside = self._surface(outer, FINE_OUTSIDE)
        self.bore = self._surface(inner, FINE_BORE).beside(self._surface(ends, FINE_ENDS))
        self.cut = self._surface(across, FINE_OUTSIDE).without_whole()

    def _surface(self, chosen: Mask, fine: int) -> Surface:
        """Return the surface of the chosen faces, in six triangles each if up to so many."""
        faces = self._faces[chosen]
        corners = faces[:, CURVED if len(faces) <= fine else FLAT]  # (faces, triangles, 3)
        nodes, inverse = np.unique(corners, return_inverse=True)
        triangles = inverse.reshape(corners.shape)
        opened = triangles[self._kept[chosen]]
        return Surface(nodes, triangles.reshape(-1, 3), opened.reshape(-1, 3))

    def place(self, shape: Shape) -> Array:
        """Return where the nodes of the whole tube are now, shape (nodes, 3), mm."""
        return turned(shape.nodes + shape.displacement, self._sectors)

    def stretch(self, shape: Shape) -> Array:
        """Return the largest principal stretch at the nodes of the whole tube, shape (nodes,)."""
        return np.tile(shape.stretch, self._sectors)


def _merged(points: Array, near: float) -> Index:
    """Return for each point the number of the first of those in its place, shape (points,)."""
    from scipy.sparse import coo_array  # a command that needs no surfaces starts without
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import KDTree

    pairs = KDTree(points).query_pairs(near, output_type="ndarray")
    count = len(points)
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), (count, count))
    _, label = connected_components(links, directed=False)
    _, first = np.unique(label, return_index=True)
    return np.asarray(first[label])


def _once(middle: Index, counted: Mask) -> Mask:
    """Return whether each of the counted faces is that of a single counted cell."""
    cells = np.bincount(middle[counted], minlength=middle.max() + 1)
    return np.asarray(counted & (cells[middle] == 1))


def from_front(places: Array) -> Array:
    """Return the azimuth from the front of places, shape (..., 3), within half a turn (rad)."""
    angle = np.arctan2(places[..., 1], places[..., 0]) - FRONT
    return np.asarray((angle + np.pi) % (2 * np.pi) - np.pi)


def _walked(faces: Index, cells: Index, rest: Array) -> Index:
    """Return faces, shape (faces, 9), walked counter-clockwise as seen from outside their cell.

    The walk begins along the edge that is bent most.
    """
    first, second, last, middle = (rest[faces[:, k]] for k in (0, 2, 6, 8))
    normal = np.cross(second - first, last - first)
    out = middle - np.repeat(rest[cells[:, -1]], len(FACES), axis=0)
    turn = np.einsum("ij,ij->i", normal, out) < 0
    faces = np.where(turn[:, None], faces[:, [0, 7, 6, 5, 4, 3, 2, 1, 8]], faces)
    bent, other = (_bend(rest, faces[:, edge : edge + 3]) for edge in (0, 2))
    return np.where((other > bent)[:, None], faces[:, [2, 3, 4, 5, 6, 7, 0, 1, 8]], faces)


def _bend(rest: Array, edges: Index) -> Array:
    """Return how far the middles of edges, shape (edges, 3), are off their chords (mm)."""
    first, middle, last = (rest[edges[:, k]] for k in range(3))
    return np.asarray(np.linalg.norm(middle - (first + last) / 2, axis=1))


def vertex_normals(points: Array, triangles: Index) -> Array:
    """Return unit normals at points, shape (points, 3), means of the triangles by their areas."""
    a, b, c = (points[triangles[:, k]] for k in range(3))
    across = np.cross(b - a, c - a)
    sums = np.stack(
        [
            sum(np.bincount(triangles[:, k], across[:, axis], len(points)) for k in range(3))
            for axis in range(3)
        ],
        axis=-1,
    )
    size = np.linalg.norm(sums, axis=1, keepdims=True)
    return np.asarray(sums / np.where(size > 0, size, 1.0))
