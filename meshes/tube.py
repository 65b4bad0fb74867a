"""A tube, or an equal sector of it, in structured second-order hexahedra.

A radial line is revolved into a layer of quadrilaterals, and that layer is extruded along the axis,
so the nodes on the two cut faces of a sector match. Facets and cells are tagged with the names in
`GROUPS`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, NamedTuple

import gmsh

GROUPS = {"wall": 1, "base": 2, "free end": 3, "bore": 4, "outer": 5, "start cut": 6, "end cut": 7}
"""Names and numbers of the physical groups: the cells, then the faces."""


class Cells(NamedTuple):
    """Number of cells through the wall, round the body and along the axis."""

    radial: int
    around: int
    axial: int


@dataclass(frozen=True)
class TubeShape:
    """The body to be meshed.

    Parameters
    ----------
    bore_radius, outer_radius, length
        Dimensions in mm.
    sectors
        The body is the wedge of 2 pi / sectors rad that starts at theta = 0; 1 is the full tube.
    """

    bore_radius: float
    outer_radius: float
    length: float
    sectors: int


@contextmanager
def tube(shape: TubeShape, cells: Cells) -> Iterator[Any]:
    """Mesh `shape` with `cells` and yield the gmsh model, which exists within the context only."""
    gmsh.initialize(interruptible=False)
    try:
        gmsh.option.setNumber("General.Verbosity", 0)
        gmsh.option.setNumber("Mesh.SecondOrderIncomplete", 0)
        gmsh.model.add("tube")
        _tag(shape, _draw(shape, cells))
        gmsh.model.mesh.generate(3)
        gmsh.model.mesh.setOrder(2)
        yield gmsh.model
    finally:
        gmsh.finalize()


def _draw(shape: TubeShape, cells: Cells) -> list[int]:
    """Draw the body in arcs of one cell each and return its volumes."""
    geo = gmsh.model.geo
    inner = geo.addPoint(shape.bore_radius, 0, 0)
    outer = geo.addPoint(shape.outer_radius, 0, 0)
    line = geo.addLine(inner, outer)
    geo.mesh.setTransfiniteCurve(line, cells.radial + 1)
    arc = 2 * math.pi / shape.sectors / cells.around
    faces = []
    for _ in range(cells.around):
        swept = geo.revolve([(1, line)], 0, 0, 0, 0, 0, 1, arc, numElements=[1], recombine=True)
        line = swept[0][1]
        faces += [entity for entity in swept if entity[0] == 2]
    swept = geo.extrude(faces, 0, 0, shape.length, numElements=[cells.axial], recombine=True)
    geo.removeAllDuplicates()  # closes the full tube at theta = 0
    geo.synchronize()
    return [tag for dimension, tag in swept if dimension == 3]


def _tag(shape: TubeShape, volumes: list[int]) -> None:
    gmsh.model.addPhysicalGroup(3, volumes, GROUPS["wall"], "wall")
    faces: dict[str, list[int]] = {}
    for _, tag in gmsh.model.getBoundary([(3, volume) for volume in volumes], oriented=False):
        faces.setdefault(_face_name(shape, tag), []).append(tag)
    for name, tags in faces.items():
        gmsh.model.addPhysicalGroup(2, tags, GROUPS[name], name)


def _face_name(shape: TubeShape, tag: int) -> str:
    """Return the name of a boundary face from the position of its centre."""
    low, high = gmsh.model.getParametrizationBounds(2, tag)
    middle = [(a + b) / 2 for a, b in zip(low, high, strict=True)]
    x, y, z = gmsh.model.getValue(2, tag, middle)
    radius, tolerance = math.hypot(x, y), 1e-3 * (shape.outer_radius - shape.bore_radius)
    if z < 1e-6 * shape.length:
        return "base"
    if z > (1 - 1e-6) * shape.length:
        return "free end"
    if radius < shape.bore_radius + tolerance:
        return "bore"
    if radius > shape.outer_radius - tolerance:
        return "outer"
    return "start cut" if abs(math.atan2(y, x)) < 1e-6 else "end cut"
