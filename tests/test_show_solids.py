"""The solids of the 3D picture, which way they turn, and their rendering."""

import math

import numpy as np
import pytest
import pyvista

import fem.show.render as rendering
from fem.run import solve
from fem.show.render import ELEVATION, Layer, View, project, render
from fem.show.scene import build_layers
from fem.show.solids import FRONT, index_marks, outer_wall, thread_dashes, thread_tubes
from fem.show.stage import set_scene
from tests.shown import blank


@pytest.fixture(scope="module")
def mirrored(make_case):
    angles = {"threads__0__angle": "-20 deg", "threads__1__angle": "30 deg"}
    return solve(make_case(pressure__steps=2, **angles), ["fe"], "1x1x6")


# ---------------------------------------------------------------------------- threads and marks


def test_threads_have_the_colours_of_the_bar(result):
    scene = set_scene(result)
    meshes = [layer.mesh for layer in build_layers(scene) if "colour" in layer.mesh.cell_data]
    assert len(meshes) == 1, "at rest no thread has a colour"
    (mesh,) = meshes
    lines = scene.lines[1]
    taut = lines.tension[~scene.slack(1)]
    expected = scene.colours.to_rgba(taut[mesh.cell_data["link"]], bytes=True)[:, :3]
    assert np.array_equal(mesh.cell_data["colour"], expected)
    assert set(mesh.cell_data["link"]) == set(range(len(taut)))


def test_threads_lie_on_the_wall(result):
    scene = set_scene(result)
    thick = 0.1
    wall = outer_wall(scene.poses[0].shape, result.case.tube)
    assert np.hypot(*wall.points[:, :2].T) == pytest.approx(6.5, rel=2e-3)
    tubes = thread_tubes(scene.lines[0], thick)
    from_axis = np.hypot(*tubes.points[:, :2].T)
    assert from_axis.min() > 6.5 - 0.02
    assert from_axis.max() < 6.5 + 2 * thick + 0.02


def test_dashes_cover_half_of_a_thread(result):
    lines = set_scene(result).lines[0]
    full, dashed = thread_tubes(lines, 0.05), thread_dashes(lines, 0.05, 1.0)
    assert dashed.area / full.area == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize("twist", [0.4, -0.4, 7.0])
def test_index_marks(result, twist):
    base, free = (
        np.array(mark.center) for mark in index_marks(result.case.tube, height=50.0, twist=twist)
    )
    turned = math.atan2(free[1], free[0]) - math.atan2(base[1], base[0])
    assert math.remainder(turned - twist, 2 * math.pi) == pytest.approx(0, abs=1e-6)
    assert base[:2] / np.hypot(*base[:2]) == pytest.approx([math.cos(FRONT), math.sin(FRONT)])
    assert base[2] < 0 < 50 < free[2]


# --------------------------------------------------------------------------- sense of the twist


def test_the_mirrored_case_turns_the_other_way(result, mirrored):
    def arrow(result):
        figure, scene = blank(result)
        (line,) = figure.findobj(lambda artist: artist.get_gid() == "turn")
        return line.get_xydata() - [scene.layout.centres[1], 0]

    assert arrow(result)[-1, 0] > 0, "a positive twist goes to the right in front"
    assert arrow(mirrored) * [-1, 1] == pytest.approx(arrow(result), abs=1e-4)


def test_the_mirrored_case_is_the_mirrored_picture(result, mirrored):
    """Seen in the marks on the free end plates, which nothing hides."""

    def places(result):
        scene = set_scene(result)
        size = tuple(pixels // 4 for pixels in scene.layout.pixels)
        red, green, blue = render(build_layers(scene), scene.layout.view, size).T.astype(int)
        column, row = np.nonzero((red > 60) & (red > 3 * green) & (red > 3 * blue))
        across = column / size[0] * scene.layout.view.width - scene.layout.centres[1]
        top = row < size[1] / 2
        return across[top & (np.abs(across) < 10)]

    assert places(result).mean() > 0.5
    assert places(mirrored).mean() == pytest.approx(-places(result).mean(), abs=0.3)


# ------------------------------------------------------------------------------------- renderer


def test_projection_and_rendering_agree():
    box = pyvista.Box((-3, 5, 0, 0.01, 2, 9))
    view = View(-10, 10, -5, 15)
    image = render([Layer(box, (0, 0, 0), ambient=1.0)], view, (400, 400))
    row, column = np.nonzero(image.min(axis=2) < 128)
    pixel = 20 / 400
    low, high = project(np.array([[-3, 0, 2], [5, 0, 9]]))
    assert high[1] == pytest.approx(9 * math.cos(ELEVATION))
    assert view.left + column.min() * pixel == pytest.approx(low[0], abs=pixel)
    assert view.left + (column.max() + 1) * pixel == pytest.approx(high[0], abs=pixel)
    assert view.top - row.min() * pixel == pytest.approx(high[1], abs=2 * pixel)
    assert view.top - (row.max() + 1) * pixel == pytest.approx(low[1], abs=2 * pixel)
    assert image[0, 0].tolist() == [255, 255, 255]


def test_rendering_without_a_driver_is_an_error_not_a_crash(monkeypatch):
    import vtkmodules.vtkRenderingOpenGL2  # noqa: F401
    from vtkmodules.vtkRenderingCore import vtkRenderWindow

    monkeypatch.setattr(rendering, "NO_DRIVER", vtkRenderWindow().GetClassName())
    monkeypatch.setattr(rendering, "_loads", lambda library: False)
    with pytest.raises(OSError, match="graphics driver"):
        render([], View(0, 1, 0, 1), (10, 10))
