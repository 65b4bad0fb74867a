"""The solids of the 3D picture, which way they turn, and their rendering."""

import math
from dataclasses import replace

import numpy as np
import pytest
import pyvista

import fem.show.render as rendering
from fem.run import solve
from fem.show.colours import NONE, scales_of, tension_scale
from fem.show.exhibit import exhibits
from fem.show.plates import index_marks, plates
from fem.show.render import ELEVATION, Layer, View, project, render
from fem.show.scene import build_layers
from fem.show.skin import FRONT, vertex_normals
from fem.show.solids import solids, thread_radius
from fem.show.stage import set_scene
from tests.shown import blank


@pytest.fixture(scope="module")
def mirrored(make_case):
    angles = {"threads__0__angle": "-20 deg", "threads__1__angle": "30 deg"}
    return solve(make_case(pressure__steps=2, **angles), ["fe"], "1x1x6")


# -------------------------------------------------------------------------------------- a state


def test_parts_of_a_state(result):
    fe, fast = exhibits(result)
    for exhibit in (fe, fast):
        whole = {solid.role: solid for solid in solids(exhibit, 2)}
        assert list(whole) == ["wall", "bore", "threads", "plates", "marks", "start"]
        opened = [solid.role for solid in solids(exhibit, 2, cut=True, start=False)]
        assert opened == ["wall", "bore", "cut", "threads", "plates", "marks"]
        for solid in whole.values():
            assert solid.points.shape == solid.normals.shape
            assert solid.triangles.max() < len(solid.points)
            assert np.isfinite(solid.points).all()
            inward = (vertex_normals(solid.points, solid.triangles) * solid.normals).sum(axis=1)
            assert np.quantile(inward, 0.01) > 0.3, solid.role
        assert whole["wall"].quantity == whole["bore"].quantity == "stretch"
        assert len(whole["wall"].opened) < len(whole["wall"].triangles)


def test_the_wall_is_the_same_triangles_at_all_steps(result):
    for exhibit in exhibits(result):
        first, last = solids(exhibit, 0), solids(exhibit, 99)
        assert np.array_equal(first[0].triangles, last[0].triangles)
        assert np.array_equal(last[0].points, solids(exhibit, 2)[0].points), "there is no step 99"
        assert not np.array_equal(first[0].points, last[0].points)


def test_values_are_those_of_the_state(result):
    fe, fast = exhibits(result)
    wall, _, threads, *_ = solids(fe, 2)
    assert wall.values.max() <= fe.shapes[2].stretch.max()
    assert wall.values.max() == pytest.approx(result.runs[0].rows[2]["wall_stretch_max"], rel=0.01)
    assert 0 < threads.values.max() <= max(f.tension.max() for f in fe.shapes[2].threads)
    wall, _, threads, *_ = solids(fast, 2)
    assert wall.values == pytest.approx(result.runs[1].rows[2]["wall_stretch_max"])
    assert np.isnan(solids(fast, 0)[2].values).all(), "slack at rest"


def test_one_scale_says_which_thread_is_taut(result):
    fe, _ = exhibits(result)
    greatest = max(family.tension.max() for family in fe.shapes[2].threads)
    loose = replace(scales_of([fe]), tension=tension_scale(200 * greatest))
    threads = next(solid for solid in solids(fe, 2, loose) if solid.role == "threads")
    assert np.isnan(threads.values).all()


def test_threads_are_lines_and_no_coat(make_case):
    few = make_case()
    assert thread_radius(few) == pytest.approx(0.022 * 6.5)
    many = make_case(threads__0__count=120, threads__1__count=120)
    assert thread_radius(many) < 2 * math.pi * 6.5 / 120 / 6


@pytest.mark.parametrize("twist", [0.4, -0.4, 7.0])
def test_index_marks(result, twist):
    marks = index_marks(result.case.tube, height=50.0, twist=twist)
    base, free = (points.mean(axis=0) for points in np.split(marks.points, 2))
    turned = math.atan2(free[1], free[0]) - math.atan2(base[1], base[0])
    assert math.remainder(turned - twist, 2 * math.pi) == pytest.approx(0, abs=1e-6)
    assert base[:2] / np.hypot(*base[:2]) == pytest.approx([math.cos(FRONT), math.sin(FRONT)])
    assert base[2] < 0 < 50 < free[2]


def test_plates_hold_the_tube_between_them(result):
    tube = result.case.tube
    base, free = np.split(plates(tube, 50.0).points, 2)
    assert (base[:, 2].min(), base[:, 2].max()) == pytest.approx((-1.3, 0))
    assert (free[:, 2].min(), free[:, 2].max()) == pytest.approx((50, 51.3))
    assert np.hypot(*free[:, :2].T).max() == pytest.approx(1.15 * 6.5)
    mesh = plates(tube, 50.0)
    solid = pyvista.PolyData.from_regular_faces(mesh.points, mesh.triangles)
    exact = math.pi * 1.3 * 6.5**2 * (1.15**2 + 1.5**2)
    # of polygons of 60 sides: sin x / x of the circles, x = 6 deg
    x = math.radians(6)
    assert solid.volume == pytest.approx(exact * math.sin(x) / x, rel=1e-6)


def test_the_tube_at_rest_is_hidden_while_it_rests(result):
    fe, _ = exhibits(result)
    start = solids(fe, 0)[-1]
    assert start.role == "start"
    below = start.points[start.points[:, 2] < 59]
    assert np.hypot(*below[:, :2].T).max() <= 6.5
    assert start.points[:, 2].max() < 60 + 0.2 * 6.5 + 0.02 * 6.5
    assert np.array_equal(start.points, solids(fe, 2)[-1].points)


# ---------------------------------------------------------------------------------- the picture


def test_threads_have_the_colours_of_the_bar(result):
    scene = set_scene(result)
    meshes = [layer.mesh for layer in build_layers(scene) if "colour" in layer.mesh.point_data]
    at_rest, moved = meshes
    assert set(map(tuple, at_rest["colour"])) == {NONE}, "at rest no thread has a colour"
    threads = next(s for s in solids(scene.exhibit, 2, scene.scales) if s.role == "threads")
    expected = 255 * scene.colours.to_rgba(threads.values)[:, :3]
    # the bar has 256 colours, the threads all but the last: up to one colour, 3 of 255, off
    assert moved["colour"] == pytest.approx(expected, abs=3.5)


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
