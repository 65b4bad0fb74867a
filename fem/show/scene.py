"""The tube at rest and at the end of its path, side by side, its threads coloured by tension.

The solids are rendered off screen (:mod:`fem.show.render`); lettering, colour bar and dimensions
are laid over them (:mod:`fem.show.page`), so these stay sharp.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from fem.result import Result
from fem.show.layers import layer_of
from fem.show.page import compose
from fem.show.render import Layer, render
from fem.show.solids import solids
from fem.show.stage import Scene, set_scene
from fem.show.style import DPI

RUBBER = (0.62, 0.61, 0.60)
SEEN_THROUGH = 0.55
"""Colour and opacity of the wall: the threads behind it show, dimmed."""

SHOWN = ("wall", "threads", "plates", "marks")
"""Roles of the solids in the picture; the bore would hide the threads behind."""


def draw_shape(result: Result, file: Path) -> None:
    """Draw the tube at rest and at the end of the FE model's path into an image file.

    Parameters
    ----------
    result
        With a run of the FE model in it.
    file
        To be written; its ending tells the format.

    Raises
    ------
    OSError
        If it cannot be written, or this machine cannot draw off screen.
    """
    scene = set_scene(result)
    picture = render(build_layers(scene), scene.layout.view, scene.layout.pixels)
    compose(scene, picture).savefig(file, dpi=DPI, facecolor="white")


def build_layers(scene: Scene) -> list[Layer]:
    """Return all solids of the picture."""
    layers = []
    for pose, centre in zip(scene.poses, scene.layout.centres, strict=True):
        for solid in solids(scene.exhibit, pose.step, scene.scales):
            if solid.role == "wall":
                solid = replace(solid, values=None, colour=RUBBER, opacity=SEEN_THROUGH)
            if solid.role in SHOWN:
                layers.append(layer_of(solid, scene.scales, shift=centre))
    return layers
