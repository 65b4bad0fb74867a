"""The solids of a state: wall, threads, end plates, index marks, and the tube at rest."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from fem.case.case import Case
from fem.case.tube import Tube
from fem.core.arrays import Array, Index
from fem.quantities.measures import carries
from fem.quantities.shape import Shape
from fem.scene.appearance import MARK, START, Colour
from fem.scene.colours import NO_TENSION_RGB
from fem.scene.plates import end_position, index_marks, plates, wire
from fem.scene.surface import Surface, WallSurfaces
from fem.scene.thread_tubes import ThreadTubes
from fem.scene.tube_sweep import Mesh, joined

RUBBER: Colour = (0.80, 0.76, 0.71)
PLATE: Colour = (0.80, 0.83, 0.87)
NO_TENSION: Colour = (NO_TENSION_RGB[0] / 255, NO_TENSION_RGB[1] / 255, NO_TENSION_RGB[2] / 255)

THREAD = 0.022
"""Radius of a drawn thread over that of the tube, unless threads are too close."""

DASH = 0.2
"""Length of a dash over the radius of the tube."""


@dataclass(frozen=True)
class Solid:
    """A drawn part.

    Attributes
    ----------
    role
        ``"wall"``, ``"bore"``, ``"cut"``, ``"threads"``, ``"plates"``, ``"marks"`` or ``"start"``.
    points, normals
        Shape (points, 3), mm and 1.
    triangles, opened
        Indices of corners, shape (triangles, 3), counter-clockwise seen from outside: of the
        complete tube, and of the tube cut open. The role ``"cut"`` has only `opened`.
    values
        Values of `quantity` at the points, shape (points,), nan for a thread without tension; None
        for a solid of one colour.
    quantity
        ``"stretch"``, ``"tension"`` or ``""``.
    colour
        Red, green, blue from 0 to 1; where there is no value.
    opacity
        From 0 to 1.
    """

    role: str
    points: Array
    normals: Array
    triangles: Index
    opened: Index
    values: Array | None = None
    quantity: str = ""
    colour: Colour = RUBBER
    opacity: float = 1.0

    def faces(self, cut: bool) -> Index:
        """Return the triangles of the complete tube, or of the tube cut open."""
        return self.opened if cut else self.triangles


class SceneBuilder:
    """Builds the solids of the states of a body; what all states share is computed once.

    Parameters
    ----------
    case
        The case.
    shape
        The body, in any state.
    surfaces
        Its surfaces, if already known.
    """

    def __init__(self, case: Case, shape: Shape, surfaces: WallSurfaces | None = None) -> None:
        self._tube, self._families = case.tube, case.threads
        self.surfaces = surfaces or WallSurfaces(shape, case.tube)
        radius, dash = thread_radius(case), DASH * case.tube.outer_radius
        self._tubes = [
            ThreadTubes(curves, shape.sectors, radius, dash, self.surfaces.wedge)
            for curves in shape.threads
        ]

    def solids(self, shape: Shape, row: dict[str, Any]) -> list[Solid]:
        """Return the solids of a state.

        Parameters
        ----------
        shape
            The body in that state.
        row
            Its row of the step table, with displacement_mm and twist_deg.
        """
        return [*self._wall(shape), *self._threads(shape), *without_body(self._tube, row)]

    def _wall(self, shape: Shape) -> Iterator[Solid]:
        """Yield both sides of the wall and the cut faces."""
        positions, stretch = self.surfaces.positions(shape), self.surfaces.stretch(shape)
        surfaces: dict[str, Surface] = {
            "wall": self.surfaces.outside,
            "bore": self.surfaces.bore,
            "cut": self.surfaces.cut,
        }
        for role, surface in surfaces.items():
            points = positions[surface.nodes]
            yield Solid(
                role,
                points,
                surface.normals(points),
                surface.triangles,
                surface.opened,
                stretch[surface.nodes],
                "stretch",
            )

    def _threads(self, shape: Shape) -> Iterator[Solid]:
        """Yield the threads as one solid, if there are any."""
        parts = [
            tubes.tubes(curves, carries(curves.tension, family.stiffness))
            for tubes, curves, family in zip(
                self._tubes, shape.threads, self._families, strict=True
            )
        ]
        if parts:
            yield Solid("threads", *joined(parts), "tension", NO_TENSION)


def _plain(role: str, mesh: Mesh, colour: Colour) -> Solid:
    return Solid(role, mesh.points, mesh.normals, mesh.triangles, mesh.opened, colour=colour)


def without_body(tube: Tube, row: dict[str, Any]) -> Iterator[Solid]:
    """Yield plates and marks at the position of a row, if it has one, and the tube at rest."""
    height, twist = end_position(tube, row)
    if math.isfinite(height + twist):
        yield _plain("plates", plates(tube, height), PLATE)
        yield _plain("marks", index_marks(tube, height, twist), MARK)
    yield _plain("start", wire(tube), START)


def thread_radius(case: Case) -> float:
    """Return the radius of drawn threads (mm): clear lines that do not cover the wall."""
    radius = case.tube.outer_radius
    spacings = [
        2 * math.pi * radius * math.cos(family.angle) / family.count for family in case.threads
    ]
    return min([THREAD * radius, *(spacing / 6 for spacing in spacings)])
