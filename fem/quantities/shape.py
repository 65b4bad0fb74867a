"""The shape of a solved body: arrays for pictures and files, made into a whole tube."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.core.arrays import Array, Index

if TYPE_CHECKING:
    import pyvista

WALL = 0
"""Value of the cell array `part` on the wall; the families follow from 1, in their order."""


LATTICE = np.array(
    [
        *([0, 0, 0], [2, 0, 0], [2, 2, 0], [0, 2, 0], [0, 0, 2], [2, 0, 2], [2, 2, 2], [0, 2, 2]),
        *([1, 0, 0], [2, 1, 0], [1, 2, 0], [0, 1, 0], [1, 0, 2], [2, 1, 2], [1, 2, 2], [0, 1, 2]),
        *([0, 0, 1], [2, 0, 1], [2, 2, 1], [0, 2, 1]),
        *([0, 1, 1], [2, 1, 1], [1, 0, 1], [1, 2, 1], [1, 1, 0], [1, 1, 2], [1, 1, 1]),
    ]
)
"""Positions of the nodes of VTK's triquadratic hexahedron in a cell, in half edges; shape (27, 3).

Corners, middles of edges, of faces, of the cell. Source: the class documentation of
vtkTriQuadraticHexahedron; `tests/fast/test_shape.py` compares it with VTK.
"""


@dataclass(frozen=True)
class ThreadCurves:
    """The threads of one family in a body, as straight pieces, several in each cell.

    The pieces are ordered along each thread from the base, thread after thread.

    Attributes
    ----------
    name
        Name of the family.
    rest, ends
        Ends of the pieces at rest and now, shape (pieces, 2, 3), mm.
    tension
        Tension of the pieces (N), shape (pieces,).
    """

    name: str
    rest: Array
    ends: Array
    tension: Array


@dataclass(frozen=True)
class Shape:
    """A body, one of equal sectors, at one state.

    Attributes
    ----------
    pressure
        Pressure in the bore (MPa).
    sectors
        Number of copies of the body, each rotated by 2 pi / sectors, in the full tube.
    nodes, displacement
        Quadratic nodes at rest and their displacements, shape (nodes, 3), mm.
    connectivity
        Nodes of each cell in the order of VTK's triquadratic hexahedron, shape (cells, 27).
    stretch
        Largest principal stretch at each node, shape (nodes,).
    threads
        The families in the order of the case.
    """

    pressure: float
    sectors: int
    nodes: Array
    displacement: Array
    connectivity: Index
    stretch: Array
    threads: list[ThreadCurves]


def polar_points(radius: Any, angle: Any, z: Any) -> Array:
    """Return points from their polar coordinates, shapes (...); shape (..., 3)."""
    return np.stack(np.broadcast_arrays(radius * np.cos(angle), radius * np.sin(angle), z), axis=-1)


def turned(points: Array, sectors: int) -> Array:
    """Return copies of points, rotated from sector to sector.

    Parameters
    ----------
    points
        Shape (n, ..., 3).
    sectors
        Number of copies in a full turn.

    Returns
    -------
    Array
        Shape (sectors * n, ..., 3).
    """
    angles = 2 * np.pi * np.arange(sectors) / sectors
    cos, sin, zero = np.cos(angles), np.sin(angles), np.zeros(sectors)
    turns = np.array([[cos, -sin, zero], [sin, cos, zero], [zero, zero, zero + 1]])
    return np.einsum("ijs,n...j->sn...i", turns, points).reshape(-1, *points.shape[1:])


def whole_tube(shape: Shape) -> pyvista.UnstructuredGrid:
    """Return the whole tube as one grid of hexahedra (wall) and lines (threads).

    The points have their current positions. Point data: `displacement` (mm) and `stretch`, the
    largest principal stretch (nan on threads). Cell data: `part` and `tension_N` (nan on the wall).
    """
    import pyvista

    copies = shape.sectors
    wall_rest = turned(shape.nodes, copies)
    wall_now = turned(shape.nodes + shape.displacement, copies)
    offset = len(shape.nodes) * np.arange(copies)[:, None, None]
    wall_cells = (shape.connectivity[None] + offset).reshape(-1, 27)
    rest, now = [wall_rest], [wall_now]
    parts = [np.full(len(wall_cells), WALL)]
    tension = [np.full(len(wall_cells), np.nan)]
    for number, threads in enumerate(shape.threads, start=1):
        rest.append(turned(threads.rest, copies).reshape(-1, 3))
        now.append(turned(threads.ends, copies).reshape(-1, 3))
        parts.append(np.full(copies * len(threads.tension), number))
        tension.append(np.tile(threads.tension, copies))
    points = np.concatenate(now).astype(np.float32)  # enough for pictures
    lines = np.arange(len(wall_now), len(points)).reshape(-1, 2)
    grid = pyvista.UnstructuredGrid(
        {
            pyvista.CellType.TRIQUADRATIC_HEXAHEDRON: wall_cells,
            pyvista.CellType.LINE: lines,
        },
        points,
    )
    grid.point_data["displacement"] = np.concatenate(
        [there - here for there, here in zip(now, rest, strict=True)]
    ).astype(np.float32)
    grid.point_data["stretch"] = np.concatenate(
        [np.tile(shape.stretch, copies), np.full(2 * len(lines), np.nan)]
    ).astype(np.float32)
    grid.cell_data["part"] = np.concatenate(parts)
    grid.cell_data["tension_N"] = np.concatenate(tension)
    return grid
