"""The surfaces of the wall: closed, oriented outwards, at the right position in all states."""

import math

import numpy as np
import pytest
from scipy.spatial import KDTree

from fem.fast.shape import uniform_shape
from fem.results.result import Result
from fem.scene.surface import FINE_OUTSIDE, WEDGE, WallSurfaces, from_front, vertex_normals
from fem.solving.single import solve


def area_vectors(points, triangles):
    a, b, c = (points[triangles[:, k]] for k in range(3))
    return np.cross(b - a, c - a) / 2


def area(points, triangles):
    return np.linalg.norm(area_vectors(points, triangles), axis=1).sum()


def volume(points, triangles):
    """By the divergence theorem."""
    return (points[triangles].mean(axis=1) * area_vectors(points, triangles)).sum() / 3


@pytest.fixture(scope="module")
def tube(result):
    return result.case.tube


@pytest.fixture(scope="module")
def shapes(result):
    return result.shapes


@pytest.fixture(scope="module")
def surfaces(shapes, tube):
    return WallSurfaces(shapes[0], tube)


def sides_of(surfaces, shape):
    positions = surfaces.positions(shape)
    return {
        name: (surface, positions[surface.nodes])
        for name, surface in (
            ("outside", surfaces.outside),
            ("bore", surfaces.bore),
            ("cut", surfaces.cut),
        )
    }


def test_areas_are_those_of_the_tube(surfaces, shapes, tube):
    """12 cells around the tube, with nodes in their middles, form a polygon of 24 corners."""
    half = math.pi / 24
    chord = math.sin(half) / half
    of = sides_of(surfaces, shapes[0])
    outside, points = of["outside"]
    whole = 2 * math.pi * tube.outer_radius * tube.length
    assert area(points, outside.triangles) == pytest.approx(whole * chord, rel=1e-6)
    bore, points = of["bore"]
    sides = 2 * math.pi * tube.bore_radius * tube.length * chord
    ring = math.pi * (tube.outer_radius**2 - tube.bore_radius**2) * math.sin(2 * half) / (2 * half)
    assert area(points, bore.triangles) == pytest.approx(sides + 2 * ring, rel=1e-6)
    cut, points = of["cut"]
    assert len(cut.triangles) == 0
    assert area(points, cut.opened) == pytest.approx(2 * tube.wall * tube.length, rel=1e-6)


@pytest.mark.parametrize("step", [0, 2])
@pytest.mark.parametrize("cut", [False, True])
def test_the_surfaces_enclose_the_wall(surfaces, shapes, tube, step, cut):
    """Oriented outwards and closed: the volume is that of the rubber, which does not change."""
    parts = [
        (points, surface.opened if cut else surface.triangles)
        for surface, points in sides_of(surfaces, shapes[step]).values()
    ]
    exact = math.pi * (tube.outer_radius**2 - tube.bore_radius**2) * tube.length
    kept = 1 - 4 / 12 if cut else 1  # four of 12 cells have middles within 50 deg
    found = sum(volume(*part) for part in parts if len(part[1]))
    # area of polygon over circle, 1 - x^2 / 6 with x = 15 deg; flat triangles on curved cells
    assert found == pytest.approx(kept * exact, rel=0.02)
    leak = sum(area_vectors(*part).sum(axis=0) for part in parts if len(part[1]))
    whole = sum(area(*part) for part in parts if len(part[1]))
    assert np.linalg.norm(leak) < 1e-3 * whole


def test_normals_point_outwards_outside_and_to_the_axis_in_the_bore(surfaces, shapes, tube):
    positions = surfaces.positions(shapes[0])
    for surface, sense in ((surfaces.outside, 1), (surfaces.bore, -1)):
        points = positions[surface.nodes]
        normals = surface.normals(points)
        assert np.linalg.norm(normals, axis=1) == pytest.approx(1)
        away = points * [1, 1, 0] / np.hypot(points[:, 0], points[:, 1])[:, None]
        on_side = np.abs(normals[:, 2]) < 0.5  # the end faces point along the axis
        assert (sense * (normals * away).sum(axis=1)[on_side]).min() > math.cos(math.radians(8))


def test_the_wedge_faces_the_viewer(surfaces, shapes):
    positions = surfaces.positions(shapes[0])
    surface = surfaces.outside
    removed = set(map(tuple, surface.triangles)) - set(map(tuple, surface.opened))
    middle = positions[surface.nodes][np.array(list(removed))].mean(axis=1)
    assert middle[:, 1].max() < 0  # the viewer is at negative y
    assert np.abs(from_front(middle)).max() < WEDGE + math.radians(15)
    assert np.abs(from_front(middle)).min() < math.radians(15)
    assert surfaces.wedge == pytest.approx((-math.radians(60), math.radians(60)))
    faces = positions[surfaces.cut.nodes]
    assert np.abs(from_front(faces)) == pytest.approx(math.radians(60))


def test_a_body_read_from_a_file_has_the_same_surfaces(result, surfaces, tube, tmp_path):
    result.save(tmp_path)
    for shape, own in zip(Result.load(tmp_path).shapes, result.shapes, strict=True):
        whole = WallSurfaces(shape, tube)
        theirs, ours = sides_of(whole, shape), sides_of(surfaces, own)
        for name, (surface, points) in ours.items():
            other, others = theirs[name]
            assert others.shape == points.shape
            assert len(other.triangles) == len(surface.triangles)
            # files have six digits of 60 mm, a triangle of the cut is 0.75 mm wide
            assert area(others, other.opened) == pytest.approx(area(points, surface.opened), 1e-4)
            assert np.sort(others[:, 2]) == pytest.approx(np.sort(points[:, 2]), abs=1e-4)
            distance, same = KDTree(points).query(others)
            assert distance.max() < 1e-4
            values = surfaces.stretch(own)[surface.nodes]
            assert whole.stretch(shape)[other.nodes] == pytest.approx(values[same], rel=1e-5)


def test_points_agree_with_bulge_and_displacement(result, surfaces, shapes, tube):
    for row, shape in zip(result.runs[0].rows, shapes, strict=True):
        points = surfaces.positions(shape)[surfaces.outside.nodes]
        radius = np.hypot(points[:, 0], points[:, 1])
        assert radius.max() - tube.outer_radius == pytest.approx(row["bulge_mm"], abs=1e-3)
        assert points[:, 2].max() == pytest.approx(tube.length + row["displacement_mm"])


def test_values_are_those_of_the_nodes(surfaces, shapes, tube):
    """A node shared by two sectors has one value; on the cut face the stretch falls outwards."""
    stretch, rest = surfaces.stretch(shapes[2]), surfaces.positions(shapes[0])
    assert len(stretch) == len(rest)
    near = KDTree(rest).query_pairs(1e-6, output_type="ndarray")
    assert len(near) > 100
    assert stretch[near[:, 0]] == pytest.approx(stretch[near[:, 1]], rel=1e-9)
    values, places = stretch[surfaces.cut.nodes], rest[surfaces.cut.nodes]
    middle = np.abs(places[:, 2] - tube.length / 2) < 1e-6
    radius = np.hypot(places[:, 0], places[:, 1])[middle]
    inside, outside = radius < tube.bore_radius + 1e-6, radius > tube.outer_radius - 1e-6
    fall = [values[middle][part].mean() - 1 for part in (inside, ~(inside | outside), outside)]
    assert fall[0] > 1.1 * fall[1] > 1.2 * fall[2] > 0


def test_many_faces_are_drawn_by_two_triangles(make_case):
    case = make_case(tube__length="3 m", pressure={"end": "1 kPa", "steps": 1})
    shape = uniform_shape(case, solve(case, "fast").rows[-1])
    surfaces = WallSurfaces(shape, case.tube)
    faces = len(surfaces.outside.triangles) / 6
    assert faces < FINE_OUTSIDE
    assert len(surfaces.bore.triangles) / 2 > 300  # two to a face


def test_the_normals_of_a_tetrahedron():
    points = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1.0]])
    triangles = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    normals = vertex_normals(points, triangles)
    # at the right-angled corner the three faces are equal; at the others areas are the weights
    assert normals[0] == pytest.approx(-np.ones(3) / math.sqrt(3))
    assert normals[1] == pytest.approx(np.array([1, 0, 0]))
