"""Threads as tubes: on the wall, continuous if taut, dashed if slack, cut with the wall."""

import math
from dataclasses import replace

import numpy as np
import pytest

from fem.fast.shape import uniform_shape
from fem.scene.surface import from_front, vertex_normals
from fem.scene.thread_tubes import DASH_SIDES, SIDES, Chain, ThreadTubes
from fem.solving.single import solve

THICK = 0.1
WEDGE = (-1.0, 1.0)


@pytest.fixture(scope="module")
def case(make_case):
    return make_case(pressure__steps=2)


@pytest.fixture(scope="module")
def curves(case):
    """Family A, +20 deg, in the last state of the fast model."""
    return uniform_shape(case, solve(case, "fast").rows[-1]).threads[0]


@pytest.fixture(scope="module")
def threads(curves):
    return ThreadTubes(curves, 1, THICK, 1.0, WEDGE)


def all_taut(curves):
    return np.ones(len(curves.tension), dtype=bool)


def all_slack(curves):
    return ~all_taut(curves)


def area(points, triangles):
    a, b, c = (points[triangles[:, k]] for k in range(3))
    return np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2


def from_axis(points):
    return np.hypot(points[:, 0], points[:, 1])


def test_segments_are_chained_to_threads(case, curves):
    chain = Chain(curves.rest)
    (family, _) = case.threads
    assert len(chain.lengths) == family.count
    # segments of a helix are shorter than their arcs by 1 - x^2 / 24, 1.3e-3 for 10 deg
    assert chain.lengths == pytest.approx(60.0 / np.cos(family.angle), rel=1.3e-3)
    assert chain.turn == pytest.approx(60.0 * math.tan(family.angle) / 6.5)
    places = np.array([0.0, 0.5, 1.0, 2.0, 22.5, 23.0])
    segment, share = chain.find(places)
    count = len(curves.rest) // family.count
    assert segment[[0, 2, 3, 5]].tolist() == [0, count - 1, count, 12 * count - 1]
    height = curves.rest[segment, 0, 2] * (1 - share) + curves.rest[segment, 1, 2] * share
    assert height == pytest.approx([0, 30, 60, 0, 30, 60], abs=1e-9)


def test_segments_of_a_sector_and_of_the_full_tube_give_the_same_tubes(result, tmp_path):
    from fem.results.result import Result

    result.save(tmp_path)
    for shape, own in zip(Result.load(tmp_path).shapes, result.shapes, strict=True):
        for loaded, curves in zip(shape.threads, own.threads, strict=True):
            ours = ThreadTubes(curves, own.sectors, THICK, 1.0, WEDGE).tubes(
                curves, curves.tension > 1e-9
            )
            theirs = ThreadTubes(loaded, 1, THICK, 1.0, WEDGE).tubes(loaded, loaded.tension > 1e-9)
            assert theirs.points == pytest.approx(ours.points, abs=1e-3)
            assert np.array_equal(theirs.triangles, ours.triangles)
            assert theirs.values == pytest.approx(ours.values, nan_ok=True)


def test_taut_threads_are_continuous_and_on_the_wall(case, curves, threads):
    tubes = threads.tubes(curves, all_taut(curves))
    wall = from_axis(curves.ends.reshape(-1, 3)).max()
    assert from_axis(tubes.points).min() == pytest.approx(wall, abs=0.7 * THICK)
    assert from_axis(tubes.points).max() == pytest.approx(wall + 2 * THICK, abs=1e-3)
    (family, _) = case.threads
    ends = np.linalg.norm(np.diff(curves.ends, axis=1)[:, 0], axis=1).sum()
    girth = 2 * SIDES * math.sin(math.pi / SIDES) * THICK
    # the axes of the tubes are 0.1 mm above the wall, and their chords shorter than the threads
    assert area(tubes.points, tubes.triangles) == pytest.approx(girth * ends, rel=0.02)
    assert tubes.values == pytest.approx(curves.tension[0])
    assert len(tubes.points) % (family.count * SIDES) == 0


def test_tubes_are_oriented_outwards(curves, threads):
    for of in (all_taut, all_slack):
        tubes = threads.tubes(curves, of(curves))
        facing = vertex_normals(tubes.points, tubes.triangles)
        assert (facing * tubes.normals).sum(axis=1).min() > 0.5
        assert np.linalg.norm(tubes.normals, axis=1) == pytest.approx(1)


def test_dashes_cover_half_of_a_slack_thread(curves, threads):
    whole, dashed = (threads.tubes(curves, of(curves)) for of in (all_taut, all_slack))
    thinner = DASH_SIDES * math.sin(math.pi / DASH_SIDES) / (SIDES * math.sin(math.pi / SIDES)) / 2
    share = area(dashed.points, dashed.triangles) / area(whole.points, whole.triangles)
    assert share == pytest.approx(thinner / 2, rel=0.03)
    assert np.isnan(dashed.values).all()


def test_dashes_start_at_a_different_place_on_each_thread(curves, threads):
    dashed = threads.tubes(replace(curves, ends=curves.rest), all_slack(curves))
    middle = dashed.points.reshape(-1, DASH_SIDES, 3).mean(axis=1)
    first = np.sort(middle[::2, 2])[12:24]  # about the second dash of each of the twelve threads
    assert np.ptp(first) > 0.5
    assert len(np.unique(np.round(first, 2))) > 10


def test_a_thread_can_be_partly_slack(curves, threads):
    half = curves.rest.mean(axis=1)[:, 2] > 30
    tubes = threads.tubes(replace(curves, tension=np.where(half, 0.0, 1.0)), ~half)
    height = tubes.points[tubes.triangles].mean(axis=1)[:, 2]
    dashed = np.isnan(tubes.values[tubes.triangles]).any(axis=1)
    middle = curves.ends[..., 2].max() / 2
    part = middle / 12
    assert height[~dashed].max() == pytest.approx(middle, abs=part)
    assert height[dashed].min() == pytest.approx(middle, abs=part)
    taut = tubes.values[~np.isnan(tubes.values)]
    assert set(np.round(taut, 9)) == {0.5, 1.0}  # the mean where it becomes slack


def test_points_are_the_same_in_all_states(case, threads, curves):
    at_rest = threads.tubes(replace(curves, ends=curves.rest), all_taut(curves))
    now = threads.tubes(curves, all_taut(curves))
    assert np.array_equal(at_rest.triangles, now.triangles)
    assert at_rest.points.shape == now.points.shape


def test_threads_end_at_the_cut_of_the_wall(curves):
    threads = ThreadTubes(curves, 1, THICK, 1.0, WEDGE)
    tubes = threads.tubes(replace(curves, ends=curves.rest), all_taut(curves))
    angle = np.abs(from_front(tubes.points[np.unique(tubes.opened)]))
    assert angle.min() == pytest.approx(1.0, abs=2 * THICK / 6.5)
    removed = len(tubes.triangles) - len(tubes.opened)
    assert removed / len(tubes.triangles) == pytest.approx(2.0 / (2 * math.pi), rel=0.1)


def test_threads_along_the_axis_and_across_its_cut(make_case):
    """The polar angle jumps at azimuth pi, which a thread of -30 deg crosses."""
    case = make_case(threads__0__angle="0 deg", pressure__steps=1)
    shape = uniform_shape(case, solve(case, "fast").rows[-1])
    for curves in shape.threads:
        tubes = ThreadTubes(curves, 1, THICK, 1.0, WEDGE).tubes(curves, all_taut(curves))
        assert np.isfinite(tubes.points).all() and np.isfinite(tubes.normals).all()
        radius = from_axis(tubes.points)
        assert np.ptp(radius) < 2.5 * THICK


def test_a_segment_of_length_zero_is_allowed(curves):
    """In a file of six digits the ends of a short segment can coincide."""
    first, second = curves.rest[:1], curves.ends[:1]
    extended = replace(
        curves,
        rest=np.concatenate([first[:, [0, 0]], curves.rest]),
        ends=np.concatenate([second[:, [0, 0]], curves.ends]),
        tension=np.insert(curves.tension, 0, 0.0),
    )
    with_zero = ThreadTubes(extended, 1, THICK, 1.0, WEDGE).tubes(extended, all_taut(extended))
    assert np.isfinite(with_zero.points).all()
    without = ThreadTubes(curves, 1, THICK, 1.0, WEDGE).tubes(curves, all_taut(curves))
    assert with_zero.points == pytest.approx(without.points, abs=1e-9)
