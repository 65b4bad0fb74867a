"""Solids as what a renderer draws: surfaces with the colours of their values."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fem.show.colours import Scales
from fem.show.render import Layer

if TYPE_CHECKING:
    from fem.show.solids import Solid

AMBIENT = {"marks": 0.6, "start": 0.8}
USUAL = 0.55
"""Share of the light that no shade takes away, by role, and of all others."""


def layer_of(solid: Solid, scales: Scales, *, cut: bool = False, shift: float = 0.0) -> Layer:
    """Return a solid as a layer.

    Parameters
    ----------
    solid
        The solid.
    scales
        The scales of the colours.
    cut
        Whether the tube is cut open.
    shift
        How far it is moved to the right (mm).
    """
    return Layer(
        _surface(solid, scales, cut),
        solid.colour,
        solid.opacity,
        AMBIENT.get(solid.role, USUAL),
        shift,
    )


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
