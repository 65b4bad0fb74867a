r"""Thin tubes along lines on a round body, as triangles.

Each point of a line has a ring of points in the plane of

.. math:: \mathbf n = \frac{\mathbf e_r - (\mathbf e_r \cdot \mathbf t)\, \mathbf t}{|\dots|},
          \qquad \mathbf b = \mathbf t \times \mathbf n,                                \tag{1}

with t along the line and e_r away from the axis. Neighbouring rings are not twisted against each
other unless the line is parallel to e_r.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from fem.core.arrays import Array, Index, Mask


class Mesh(NamedTuple):
    """Triangles with normals and values.

    Attributes
    ----------
    points, normals
        Shape (points, 3), mm and 1.
    triangles, opened
        Corners of triangles among the points, shape (triangles, 3), counter-clockwise from outside:
        all, and those outside the removed wedge.
    values
        At the points, shape (points,).
    """

    points: Array
    normals: Array
    triangles: Index
    opened: Index
    values: Array


def sweep(lines: Array, radius: float, sides: int, shown: Mask, kept: Mask, values: Array) -> Mesh:
    """Return tubes along lines.

    Parameters
    ----------
    lines
        The lines, shape (lines, points, 3), mm.
    radius
        Radius of the tubes (mm).
    sides
        Points of a ring.
    shown
        Which parts between two points are drawn, shape (lines, points - 1).
    kept
        Which of them remain when the wall is cut open, shape (lines, points - 1).
    values
        At the points, shape (lines, points).
    """
    none = np.zeros((len(lines), 1), dtype=bool)
    used = np.hstack([shown, none]) | np.hstack([none, shown])  # rings at the ends of a drawn part
    normal, binormal = (part[used][:, None] for part in _frames(lines))
    angle = 2 * np.pi * np.arange(sides)[:, None] / sides
    out = np.cos(angle) * normal + np.sin(angle) * binormal  # (rings, sides, 3)
    points = lines[used][:, None] + radius * out
    ring = (np.cumsum(used.ravel()) - 1).reshape(used.shape)
    return Mesh(
        points.reshape(-1, 3),
        out.reshape(-1, 3),
        _side_faces(ring[:, :-1][shown], sides),
        _side_faces(ring[:, :-1][shown & kept], sides),
        np.repeat(values[used], sides),
    )


def _frames(lines: Array) -> tuple[Array, Array]:
    """Return n and b of eq. (1), shapes (lines, points, 3)."""
    along = np.gradient(lines, axis=1)
    along /= np.linalg.norm(along, axis=-1, keepdims=True)
    outward = lines * [1.0, 1.0, 0.0]
    normal = outward - (outward * along).sum(axis=-1, keepdims=True) * along
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    return normal, np.cross(along, normal)


def _side_faces(ring: Index, sides: int) -> Index:
    """Return the triangles between rings of these indices and the next ones, shape (n, 3)."""
    here = np.arange(sides)
    there = (here + 1) % sides
    quads = np.stack([here, there, there + sides, here + sides], axis=-1)
    corners = quads[:, [[0, 1, 2], [0, 2, 3]]].reshape(-1, 3)
    return (sides * ring[:, None, None] + corners).reshape(-1, 3)


def plain(points: Array, normals: Array, triangles: Index) -> Mesh:
    """Return a mesh without values, the same where the wall is cut open."""
    return Mesh(points, normals, triangles, triangles, np.full(len(points), np.nan))


def joined(parts: Sequence[Mesh]) -> Mesh:
    """Return meshes as one, with the triangles renumbered."""
    before = np.cumsum([0, *(len(part.points) for part in parts)])
    shifted = list(zip(parts, before[:-1], strict=True))
    return Mesh(
        np.concatenate([part.points for part in parts]),
        np.concatenate([part.normals for part in parts]),
        np.concatenate([part.triangles + count for part, count in shifted]),
        np.concatenate([part.opened + count for part, count in shifted]),
        np.concatenate([part.values for part in parts]),
    )
