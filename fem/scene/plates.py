"""The end plates, their index marks, and a wireframe of the tube at rest, as triangles."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np

from fem.case.tube import Tube
from fem.core.arrays import Array
from fem.quantities import table
from fem.quantities.shape import polar_points
from fem.scene.surface import FRONT
from fem.scene.tube_sweep import Mesh, joined, plain, sweep

FREE_PLATE, BASE_PLATE, PLATE_DEPTH = 1.15, 1.5, 0.2
"""Radii and thickness of the drawn plates over the outer radius of the tube (not in the case)."""

PLATE_SIDES = 60
"""Number of sides of a drawn plate."""

HOOPS, MERIDIANS = 7, 8
"""Numbers of lines of the wireframe around and along the tube."""

HOOP_SIDES = 48
"""Number of sides of a hoop."""


def end_position(tube: Tube, row: Mapping[str, Any]) -> tuple[float, float]:
    """Return height (mm) and twist (rad) of the free end from a row of the step table."""
    height = tube.length + float(row[table.displacement.column])
    return height, math.radians(row[table.twist.column])


def plates(tube: Tube, height: float) -> Mesh:
    """Return base plate and free end plate, at heights 0 and `height` (mm) of the tube."""
    radius, depth = tube.outer_radius, PLATE_DEPTH * tube.outer_radius
    base = _disc(BASE_PLATE * radius, -depth, 0.0)
    return joined([base, _disc(FREE_PLATE * radius, height, height + depth)])


def index_marks(tube: Tube, height: float, twist: float) -> Mesh:
    """Return the marks on base plate and free end plate; at rest both face the viewer.

    Each is a bar embedded in its plate, from the tube's outside or from the centre to the rim.
    """
    radius = tube.outer_radius
    depth, excess = PLATE_DEPTH * radius, 0.02 * radius
    rims = BASE_PLATE * radius + excess, FREE_PLATE * radius + excess
    base = _bar(FRONT, (radius, rims[0]), (-depth - excess, excess), 0.07 * radius)
    top = (height, height + depth + excess)
    return joined([base, _bar(FRONT + twist, (0.0, rims[1]), top, 0.07 * radius)])


@lru_cache(maxsize=32)  # the same in all states of a tube
def wire(tube: Tube) -> Mesh:
    """Return the tube at rest as hoops and meridians, with the rims and the mark of its free end.

    It lies just inside the surfaces that it represents: at rest it is hidden.
    """
    radius, length, depth = tube.outer_radius, tube.length, PLATE_DEPTH * tube.outer_radius
    thick = 0.012 * radius
    hoops = [(radius - thick, z) for z in np.linspace(0.0, length, HOOPS)]
    rims = [(FREE_PLATE * radius - thick, length + share * depth) for share in (0.08, 0.92)]
    angle = np.linspace(0.0, 2 * np.pi, HOOP_SIDES + 1)
    circles = np.array([polar_points(r, angle, z) for r, z in hoops + rims])
    around = FRONT + 2 * np.pi * np.arange(MERIDIANS)[:, None] / MERIDIANS
    along = polar_points(radius - thick, around, np.array([0.0, length]))
    end = (0.0, FREE_PLATE * radius + thick)
    mark = _bar(FRONT, end, (length, length + depth + thick), 0.025 * radius)
    return joined([_rods(circles, thick), _rods(along, thick), mark])


def _disc(radius: float, low: float, high: float) -> Mesh:
    """Return a round plate about the axis."""
    angle = 2 * np.pi * np.arange(PLATE_SIDES + 1) / PLATE_SIDES
    k = np.arange(PLATE_SIDES)[:, None]
    quads = k + np.array([0, 1, PLATE_SIDES + 2, 0, PLATE_SIDES + 2, PLATE_SIDES + 1])
    faces = []
    for (r0, z0), (r1, z1) in pairwise([(0.0, low), (radius, low), (radius, high), (0.0, high)]):
        edges = np.concatenate([polar_points(r, angle, z) for r, z in ((r0, z0), (r1, z1))])
        out = polar_points(z1 - z0, angle, r0 - r1) / math.hypot(r1 - r0, z1 - z0)
        faces.append(plain(edges, np.tile(out, (2, 1)), quads.reshape(-1, 3)))
    return joined(faces)


def _bar(
    angle: float, radii: tuple[float, float], heights: tuple[float, float], half: float
) -> Mesh:
    """Return a radial box at azimuth `angle` (rad) whose width is twice `half` (mm)."""
    centre = np.array([sum(radii), 0.0, sum(heights)]) / 2
    size = np.array([radii[1] - radii[0], 2 * half, heights[1] - heights[0]]) / 2
    faces = []
    for axis in range(3):
        for side in (-1.0, 1.0):
            out = np.zeros(3)
            out[axis] = side
            first, second = np.roll(np.eye(3), -axis - 1, axis=0)[:2]  # first x second = the axis
            square = [(-1, -side), (1, -side), (1, side), (-1, side)]
            corners = np.array([centre + size * (out + a * first + b * second) for a, b in square])
            faces.append(plain(corners, np.tile(out, (4, 1)), np.array([[0, 1, 2], [0, 2, 3]])))
    box = joined(faces)
    cos, sin = math.cos(angle), math.sin(angle)
    turn = np.array([[cos, sin, 0.0], [-sin, cos, 0.0], [0.0, 0.0, 1.0]])
    return plain(box.points @ turn, box.normals @ turn, box.triangles)


def _rods(lines: Array, radius: float) -> Mesh:
    """Return rods along lines, shape (lines, points, 3)."""
    parts = np.ones((len(lines), lines.shape[1] - 1), dtype=bool)
    return sweep(lines, radius, 3, parts, parts, np.zeros(lines.shape[:2]))
