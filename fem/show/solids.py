"""The solids of the 3D picture: outer wall, threads as thin tubes, end plates, index marks."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.arrays import Array, Index
from fem.case import Tube
from fem.shape import WALL, Shape, turned, whole_tube

FRONT = -math.pi / 2
"""Azimuth of the index marks at rest (rad): they face the viewer."""

FREE_PLATE, BASE_PLATE, PLATE_DEPTH = 1.15, 1.5, 0.2
"""Radii and thickness of the drawn plates over the outer radius of the tube (no part of a case)."""

ROUND = math.radians(4)
"""A link that turns further is drawn as several straight pieces, so that it follows the wall."""

MANY_CELLS = 5000
"""A wall of more cells looks round without its cells being cut."""


@dataclass(frozen=True)
class Lines:
    """The links of all threads of the whole tube, as straight lines.

    Attributes
    ----------
    rest, now
        Their ends, shape (links, 2, 3), mm.
    tension
        Tension of each, shape (links,), N.
    family
        Number of the family of each, from 1, shape (links,).
    """

    rest: Array
    now: Array
    tension: Array
    family: Index

    def chosen(self, mask: np.ndarray[Any, np.dtype[np.bool_]]) -> Lines:
        """Return the links that `mask`, shape (links,), chooses."""
        return Lines(self.rest[mask], self.now[mask], self.tension[mask], self.family[mask])


def thread_lines(shape: Shape) -> Lines:
    """Return the links of all threads of the whole tube."""
    copies, threads = shape.sectors, shape.threads
    return Lines(
        rest=_joined([turned(family.rest, copies) for family in threads], (0, 2, 3)),
        now=_joined([turned(family.ends, copies) for family in threads], (0, 2, 3)),
        tension=_joined([np.tile(family.tension, copies) for family in threads], (0,)),
        family=_joined(
            [
                np.full(copies * len(family.tension), number)
                for number, family in enumerate(threads, start=1)
            ],
            (0,),
        ),
    )


def _joined(parts: list[Any], empty: tuple[int, ...]) -> Any:
    return np.concatenate(parts) if parts else np.empty(empty)


def outer_wall(shape: Shape, tube: Tube) -> Any:
    """Return the outer face of the wall (pyvista.PolyData), its curved cells cut into triangles."""
    import pyvista

    grid = whole_tube(shape)
    wall = grid.extract_cells(np.asarray(grid.cell_data["part"]) == WALL)
    cuts = 1 if wall.n_cells < MANY_CELLS else 0
    surface = wall.extract_surface(nonlinear_subdivision=cuts, algorithm="dataset_surface")
    surface = surface.triangulate()
    rest = np.asarray(surface.points - surface.point_data["displacement"])
    outside = np.hypot(rest[:, 0], rest[:, 1]) > tube.outer_radius - 0.05 * tube.wall
    corners = surface.faces.reshape(-1, 4)[:, 1:]
    outer = pyvista.PolyData.from_regular_faces(
        surface.points, corners[outside[corners].all(axis=1)]
    )
    seamless = outer.clean(tolerance=1e-6 * tube.outer_radius, absolute=True)
    return seamless.compute_normals(cell_normals=False, split_vertices=False)


def thread_tubes(lines: Lines, radius: float) -> Any:
    """Return links as tubes of `radius` (mm) that lie on the wall, in the order of the links.

    The tube's cells carry `link`, the number of theirs. A link shorter than the tube is thick is
    left out: it would show as a burr, its gap does not show.
    """
    long_enough = np.flatnonzero(_lengths(lines.now) > radius / 2)
    points = _follow_wall(lines.now[long_enough], radius)
    for end, inward in ((0, 1), (-1, -2)):  # overlap, so that no slit shows between links
        outward = points[:, end] - points[:, inward]
        points[:, end] += radius / 2 * outward / np.linalg.norm(outward, axis=1, keepdims=True)
    return _tubes(points, long_enough, radius)


def thread_dashes(lines: Lines, radius: float, dash: float) -> Any:
    """Return links as dashed tubes of `radius`; dashes and gaps are `dash` long at rest (mm).

    Each thread begins its dashes elsewhere, by the azimuth that it starts from: in step they would
    make rings round the tube.
    """
    height = lines.rest[..., 2]
    rise = np.diff(height, axis=1)
    slant = _lengths(lines.rest)[:, None] / np.abs(rise)
    azimuth, turn = _azimuth(lines.rest)
    phase = np.sin(5 * (azimuth - turn * height[:, :1] / rise))
    points = _follow_wall(lines.now, radius, _lengths(lines.rest).max(initial=0.0) / (dash / 2))
    pieces = points.shape[1] - 1
    middle = (np.arange(pieces) + 0.5) / pieces
    place = (height[:, :1] + rise * middle) * slant / dash + phase
    shown = np.floor(place).astype(int) % 2 == 0  # (links, pieces)
    link = np.broadcast_to(np.arange(len(points))[:, None], shown.shape)
    pairs = np.stack([points[:, :-1], points[:, 1:]], axis=2)
    return _tubes(pairs[shown], link[shown], radius)


def _lengths(ends: Array) -> Array:
    """Return the length of each link, shape (links,)."""
    return np.asarray(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1))


def _azimuth(ends: Array) -> tuple[Array, Array]:
    """Return the azimuth of each link's start and its turn from there, shapes (links, 1), rad."""
    angle = np.arctan2(ends[..., 1], ends[..., 0])
    turn = (angle[:, 1] - angle[:, 0] + np.pi) % (2 * np.pi) - np.pi
    return angle[:, :1], turn[:, None]


def _follow_wall(ends: Array, above: float, least: float = 1.0) -> Array:
    """Return links cut into pieces, `least` or more, that follow the round wall `above` it (mm).

    The shape is (links, pieces + 1, 3).
    """
    radius = np.hypot(ends[..., 0], ends[..., 1]) + above
    azimuth, turn = _azimuth(ends)
    pieces = math.ceil(max(1.0, least, np.abs(turn).max(initial=0.0) / ROUND))
    share = np.linspace(0.0, 1.0, pieces + 1)
    bow = radius[:, :1] + np.diff(radius, axis=1) * share
    height = ends[:, :1, 2] + np.diff(ends[..., 2], axis=1) * share
    return polar_points(bow, azimuth + turn * share, height)


def _tubes(points: Array, link: Index, radius: float) -> Any:
    """Return a tube round each polyline, shape (lines, points, 3)."""
    import pyvista

    count, length = points.shape[:2]
    if not count:
        return pyvista.PolyData()
    cells = np.insert(np.arange(count * length).reshape(count, length), 0, length, axis=1)
    curves = pyvista.PolyData(points.reshape(-1, 3), lines=cells.ravel())
    curves.cell_data["link"] = link
    return curves.tube(radius=radius, n_sides=6, capping=False)


def plates(tube: Tube, height: float) -> list[Any]:
    """Return base plate and free end plate, the faces that hold the tube at 0 and at `height`."""
    import pyvista

    depth = PLATE_DEPTH * tube.outer_radius
    discs = [
        pyvista.Cylinder(
            center=(0, 0, z),
            direction=(0, 0, 1),
            radius=ratio * tube.outer_radius,
            height=depth,
            resolution=120,
        )
        for ratio, z in ((BASE_PLATE, -depth / 2), (FREE_PLATE, height + depth / 2))
    ]
    return [disc.compute_normals(split_vertices=True, feature_angle=40) for disc in discs]


def index_marks(tube: Tube, height: float, twist: float) -> list[Any]:
    """Return the marks on base plate and free end plate; at rest both face the viewer.

    Each is a bar let into its plate, from the tube's outside or from the centre to the rim.
    """
    radius = tube.outer_radius
    depth, proud = PLATE_DEPTH * radius, 0.02 * radius
    rims = BASE_PLATE * radius + proud, FREE_PLATE * radius + proud
    return [
        _bar(FRONT, (radius, rims[0]), (-depth - proud, proud), 0.07 * radius),
        _bar(FRONT + twist, (0.0, rims[1]), (height, height + depth + proud), 0.07 * radius),
    ]


def _bar(
    angle: float, radii: tuple[float, float], heights: tuple[float, float], half: float
) -> Any:
    """Return a radial box at azimuth `angle` (rad) whose width is twice `half` (mm)."""
    import pyvista

    return pyvista.Box((*radii, -half, half, *heights)).rotate_z(math.degrees(angle))


def polar_points(radius: Array, angle: Array, z: Array) -> Array:
    """Return points from their polar coordinates, shapes (...); shape (..., 3)."""
    return np.stack([radius * np.cos(angle), radius * np.sin(angle), z], axis=-1)
