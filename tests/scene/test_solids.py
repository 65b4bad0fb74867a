"""The solids of the 3D picture, the sense of twist, and their rendering."""

import math
from dataclasses import replace

import numpy as np
import pytest
import pyvista

import fem.scene.offscreen_renderer as rendering
from fem.scene.appearance import HIDDEN_OPACITY
from fem.scene.colours import NO_TENSION_RGB, scales_of
from fem.scene.offscreen_renderer import ELEVATION, Viewport, actor_of, actors_of, project, render
from fem.scene.plates import index_marks, plates
from fem.scene.result_view import result_views, solids, state_solids
from fem.scene.solids import thread_radius
from fem.scene.still.path import path_page
from fem.scene.surface import FRONT, vertex_normals
from fem.solving.single import solve
from tests.helpers.pictures import blank


@pytest.fixture(scope="module")
def mirrored(make_case):
    angles = {"threads__0__angle": "-20 deg", "threads__1__angle": "30 deg"}
    return solve(make_case(pressure__steps=2, **angles), ["fe"], "1x1x6")


# -------------------------------------------------------------------------------------- a state


def test_parts_of_a_state(result):
    fe, fast = result_views(result)
    for view in (fe, fast):
        complete = {solid.role: solid for solid in solids(view, 2)}
        assert list(complete) == ["wall", "bore", "threads", "plates", "marks", "start"]
        opened = [solid.role for solid in solids(view, 2, cut=True, start=False)]
        assert opened == ["wall", "bore", "cut", "threads", "plates", "marks"]
        for solid in complete.values():
            assert solid.points.shape == solid.normals.shape
            assert solid.triangles.max() < len(solid.points)
            assert np.isfinite(solid.points).all()
            inward = (vertex_normals(solid.points, solid.triangles) * solid.normals).sum(axis=1)
            assert np.quantile(inward, 0.01) > 0.3, solid.role
        assert complete["wall"].quantity == complete["bore"].quantity == "stretch"
        assert len(complete["wall"].opened) < len(complete["wall"].triangles)


def test_the_wall_has_the_same_triangles_at_all_steps(result):
    for view in result_views(result):
        first, last = solids(view, 0), solids(view, 99)
        assert np.array_equal(first[0].triangles, last[0].triangles)
        assert np.array_equal(last[0].points, solids(view, 2)[0].points)  # there is no step 99
        assert not np.array_equal(first[0].points, last[0].points)


def test_values_are_those_of_the_state(result):
    fe, fast = result_views(result)
    wall, bore, threads, *_ = solids(fe, 2)
    row, tube = result.runs[0].rows[2], result.case.tube
    for solid, grown in (
        (wall, row["mid_radius_mm"] / tube.outer_radius),
        (bore, row["bore_stretch"]),
    ):
        middle = np.abs(solid.points[:, 2] - solid.points[:, 2].max() / 2) < 0.5
        # the twist of the plate adds some shear to the hoop stretch
        assert solid.values[middle].mean() == pytest.approx(grown, rel=0.01), solid.role
    assert 0 < threads.values.max() <= max(f.tension.max() for f in fe.shapes[2].threads)
    wall, _, threads, *_ = solids(fast, 2)
    row = result.runs[1].rows[2]
    assert wall.values == pytest.approx(row["mid_radius_mm"] / tube.outer_radius, rel=0.01)
    assert solids(fast, 2)[1].values.max() == pytest.approx(row["wall_stretch_max"])
    assert np.isnan(solids(fast, 0)[2].values).all()  # slack at rest


def test_dashes_agree_with_the_taut_fraction(result):
    """They do not depend on how small the tension is relative to others."""
    fe, _ = result_views(result)
    shape, threads = fe.shapes[2], fe.shapes[2].threads
    assert [fe.rows[2][f"taut_fraction.{name}"] for name in "AB"] == [1, 1]

    def drawn(factor):
        scaled = [replace(curves, tension=factor * curves.tension) for curves in threads]
        (solid,) = [
            solid
            for solid in state_solids(fe, fe.rows[2], replace(shape, threads=scaled))
            if solid.role == "threads"
        ]
        return np.isnan(solid.values)

    assert not drawn(1).any()
    assert not drawn(1e-6).any()
    assert drawn(1e-15).all()  # round-off is not a tension


def test_drawn_threads_do_not_cover_the_wall(make_case):
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


def test_plates_are_at_both_ends_of_the_tube(result):
    tube = result.case.tube
    base, free = np.split(plates(tube, 50.0).points, 2)
    assert (base[:, 2].min(), base[:, 2].max()) == pytest.approx((-1.3, 0))
    assert (free[:, 2].min(), free[:, 2].max()) == pytest.approx((50, 51.3))
    assert np.hypot(*free[:, :2].T).max() == pytest.approx(1.15 * 6.5)
    mesh = plates(tube, 50.0)
    solid = pyvista.PolyData.from_regular_faces(mesh.points, mesh.triangles)
    exact = math.pi * 1.3 * 6.5**2 * (1.15**2 + 1.5**2)
    # area of polygons of 60 sides over that of circles: sin x / x, x = 6 deg
    x = math.radians(6)
    assert solid.volume == pytest.approx(exact * math.sin(x) / x, rel=1e-6)


def test_the_free_plate_is_at_the_end_of_the_tube(result):
    fe, _ = result_views(result)
    wall, _, _, plate, *_ = solids(fe, 2)
    assert abs(fe.rows[2]["displacement_mm"]) > 1
    assert plate.points[:, 2].max() == pytest.approx(wall.points[:, 2].max() + 0.2 * 6.5)


def test_the_wire_of_the_tube_at_rest_is_inside_it(result):
    fe, _ = result_views(result)
    start = solids(fe, 0)[-1]
    assert start.role == "start"
    below = start.points[start.points[:, 2] < 59]
    assert np.hypot(*below[:, :2].T).max() <= 6.5
    assert start.points[:, 2].max() < 60 + 0.2 * 6.5 + 0.02 * 6.5
    assert np.array_equal(start.points, solids(fe, 2)[-1].points)


# ---------------------------------------------------------------------------------- the picture


def test_threads_have_the_colours_of_the_colour_bar(result):
    page = path_page(result)
    shown = [pyvista.wrap(actor.GetMapper().GetInput()) for actor in page.actors(page.states)]
    meshes = [mesh for mesh in shown if "colour" in mesh.point_data]
    at_rest, moved = meshes
    assert set(map(tuple, at_rest["colour"])) == {NO_TENSION_RGB}
    scale = page.scales.tension
    threads = next(solid for solid in page.solids(-1, *page.states[-1]) if solid.role == "threads")
    share = np.clip(threads.values / scale.high, 0, 1)
    expected = scale.colours[np.rint(255 * share).astype(int)]
    # the bar has 256 colours, the threads all but the last: up to one colour, 3 of 255, difference
    assert moved["colour"] == pytest.approx(expected.astype(float), abs=3.5)


def lightness(pixels):
    """L* of sRGB colours, shape (n, 3); IEC 61966-2-1 and CIE 15 (from memory)."""
    share = pixels / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    light = linear @ [0.2126, 0.7152, 0.0722]
    return np.where(light > 0.008856, 116 * np.cbrt(light) - 16, 903.3 * light)


def test_shading_does_not_change_the_order_of_colours(result):
    """The palest colour of the wall in shade is lighter than the strongest in full light."""
    fe, _ = result_views(result)
    wall = solids(fe, 2)[0]
    seen, scales = [], scales_of([fe])
    for value in (scales.stretch.low, scales.stretch.high):
        plain = replace(wall, values=np.full(len(wall.points), value))
        picture = render(actors_of([plain], scales), Viewport(-12, 12, -6, 66), (120, 360))
        seen.append(lightness(picture[(picture != 255).any(axis=2)]))
        share = picture[200, 60] / scales.stretch.rgb(np.array([value]))[0]
        assert (np.abs(share - 1) < 0.12).all()  # nearly the colour of the bar in the middle
    pale, strong = seen
    assert np.quantile(pale, 0.01) > np.quantile(strong, 0.99) + 5


def test_the_hidden_shape_at_rest_is_drawn_faintly(result):
    """It is a translucent wire over the wall, by the rule of Porter and Duff (1984)."""
    fe, _ = result_views(result)
    scales, view, size = scales_of([fe]), Viewport(-12, 12, -6, 66), (240, 720)
    found = solids(fe, 2)
    shown = [solid for solid in found if solid.role in ("wall", "start")]
    start = [solid for solid in found if solid.role == "start"]
    wall = [solid for solid in shown if solid.role == "wall"]
    with_wire, without, wire = (
        render(actors_of(some, scales), view, size).astype(int) for some in (shown, wall, start)
    )
    hoops = np.zeros(without.shape[:2], dtype=bool)
    hoops[150:550, 85:108] = wire[150:550, 85:108].max(axis=2) < 160  # between meridians
    assert hoops.sum() > 100
    expected = without[hoops] + HIDDEN_OPACITY * (wire[hoops] - without[hoops])
    assert np.median(with_wire[hoops] - expected, axis=0) == pytest.approx(np.zeros(3), abs=4)
    assert np.median(without[hoops] - expected, axis=0)[0] > 15


# --------------------------------------------------------------------------- sense of the twist


def test_the_mirrored_case_twists_the_other_way(result, mirrored):
    def arrow(result):
        figure, page = blank(result)
        (line,) = figure.findobj(lambda artist: artist.get_gid() == "twist")
        return line.get_xydata() - [page.layout.centres[1], 0]

    assert arrow(result)[-1, 0] > 0  # a positive twist moves the front to the right
    assert arrow(mirrored) * [-1, 1] == pytest.approx(arrow(result), abs=1e-4)


def test_the_mirrored_case_gives_the_mirrored_picture(result, mirrored):
    """The marks on the free end plates show this; nothing hides them."""

    def places(result):
        page = path_page(result)
        layout, size = page.layout, page.layout.pixels(50)
        red, green, blue = render(page.actors(page.states), layout.viewport, size).T.astype(int)
        column, row = np.nonzero((red > 60) & (red > 3 * green) & (red > 3 * blue))
        x = column / size[0] * layout.viewport.width - layout.centres[1]
        top = row < size[1] / 2
        return x[top & (np.abs(x) < 10)]

    assert places(result).mean() > 0.5
    assert places(mirrored).mean() == pytest.approx(-places(result).mean(), abs=0.3)


# ------------------------------------------------------------------------------------- renderer


def test_projection_and_rendering_agree():
    box = pyvista.Box((-3, 5, 0, 0.01, 2, 9))
    view = Viewport(-10, 10, -5, 15)
    image = render([actor_of(box, (0, 0, 0), ambient=1.0)], view, (400, 400))
    row, column = np.nonzero(image.min(axis=2) < 128)
    pixel = 20 / 400
    low, high = project(np.array([[-3, 0, 2], [5, 0, 9]]))
    assert high[1] == pytest.approx(9 * math.cos(ELEVATION))
    assert view.left + column.min() * pixel == pytest.approx(low[0], abs=pixel)
    assert view.left + (column.max() + 1) * pixel == pytest.approx(high[0], abs=pixel)
    assert view.top - row.min() * pixel == pytest.approx(high[1], abs=2 * pixel)
    assert view.top - (row.max() + 1) * pixel == pytest.approx(low[1], abs=2 * pixel)
    assert image[0, 0].tolist() == [255, 255, 255]


def test_rendering_without_a_driver_raises_an_error(monkeypatch):
    import vtkmodules.vtkRenderingOpenGL2  # noqa: F401
    from vtkmodules.vtkRenderingCore import vtkRenderWindow

    monkeypatch.setattr(rendering, "NO_DRIVER", vtkRenderWindow().GetClassName())
    monkeypatch.setattr(rendering, "_loads", lambda library: False)
    with pytest.raises(OSError, match="graphics driver"):
        render([], Viewport(0, 1, 0, 1), (10, 10))
