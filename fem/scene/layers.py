"""Solids as what a renderer draws: surfaces with the colours of their values."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from fem.scene.appearance import AMBIENT, BEHIND
from fem.scene.colours import Scales
from fem.scene.offscreen_renderer import Layer

if TYPE_CHECKING:
    from fem.scene.solids import Solid


def layers_of(
    solids: Iterable[Solid], scales: Scales, *, cut: bool = False, shift: float = 0.0
) -> list[Layer]:
    """Return solids as layers; the shape at rest shows faintly through what hides it.

    Parameters
    ----------
    solids
        The solids.
    scales
        The scales of the colours.
    cut
        Whether the tube is cut open.
    shift
        How far they are moved to the right (mm).
    """
    solids = list(solids)
    layers = [
        Layer(
            _surface(solid, scales, cut),
            solid.colour,
            solid.opacity,
            AMBIENT[solid.role],
            shift,
        )
        for solid in solids
    ]
    faint = [
        replace(layer, opacity=BEHIND, through=True)
        for solid, layer in zip(solids, layers, strict=True)
        if solid.role == "start"
    ]
    return layers + faint


def _surface(solid: Solid, scales: Scales, cut: bool) -> Any:
    """Return the triangles as a pyvista.PolyData with normals and, of values, `colour`."""
    import pyvista

    faces: Any = solid.faces(cut)  # pyvista's types ask for int64
    mesh = pyvista.PolyData.from_regular_faces(solid.points, faces)
    mesh.point_data.active_normals = solid.normals
    scale = {scale.quantity: scale for scale in scales}.get(solid.quantity)
    if scale and solid.values is not None:
        mesh.point_data["colour"] = scale.rgb(solid.values)
    return mesh
