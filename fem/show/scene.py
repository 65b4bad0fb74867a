"""The tube at rest and at the end of its path, side by side, its threads coloured by tension.

The solids are rendered off screen (:mod:`fem.show.render`); lettering, colour bar and dimensions
are laid over them (:mod:`fem.show.page`), so these stay sharp.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.colors import to_rgb

from fem.result import Result
from fem.show.page import compose
from fem.show.render import Layer, render
from fem.show.solids import index_marks, outer_wall, plates, thread_dashes, thread_tubes
from fem.show.stage import Scene, set_scene
from fem.show.style import DPI, MARK, SLACK

RUBBER = (0.62, 0.61, 0.60)
PLATE = (0.80, 0.83, 0.87)


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
    tube, layers = scene.case.tube, []
    for number, (pose, centre) in enumerate(zip(scene.poses, scene.layout.centres, strict=True)):
        marks = index_marks(tube, pose.height, pose.twist)
        layers += [Layer(disc, PLATE, shift=centre) for disc in plates(tube, pose.height)]
        layers += [Layer(mark, to_rgb(MARK), ambient=0.6, shift=centre) for mark in marks]
        layers.append(Layer(outer_wall(pose.shape, tube), RUBBER, 0.55, shift=centre))
        layers += _thread_layers(scene, number, centre)
    return layers


def _thread_layers(scene: Scene, number: int, centre: float) -> list[Layer]:
    """Return the threads of a pose: tubes coloured by tension, thin grey dashes without."""
    if not scene.case.threads:
        return []
    radius, slack = _thread_radius(scene), scene.slack(number)
    taut = scene.lines[number].chosen(~slack)
    solid = thread_tubes(taut, radius)
    if solid.n_cells:
        shades = scene.colours.to_rgba(taut.tension, bytes=True)[:, :3]
        solid.cell_data["colour"] = shades[np.asarray(solid.cell_data["link"])]
    dash = 0.07 * scene.layout.scale
    dashes = thread_dashes(scene.lines[number].chosen(slack), radius / 2, dash)
    return [Layer(mesh, to_rgb(SLACK), ambient=0.55, shift=centre) for mesh in (solid, dashes)]


def _thread_radius(scene: Scene) -> float:
    """Return the radius of drawn threads (mm): a clear line on the page, but no closed coat."""
    girth = 2 * math.pi * scene.case.tube.outer_radius
    spacings = [girth * math.cos(family.angle) / family.count for family in scene.case.threads]
    return min(0.8 / 72 * scene.layout.scale, min(spacings) / 6)
