"""Neighbouring cases share their mesh, and their results do not depend on it."""

import numpy as np
import pytest

from fem.core.cache import SIZE, MeshCache
from fem.fe.model import FEModel
from fem.solving.single import build, solve

MESH = "1x1x4"
LOADS = np.array([0.01, 1.0, 5.0])
ROUND_OFF = 1e-10  # of a solution with MUMPS, whose pivots may come in another order


def state(model):
    """Return a state of a twisted and shortened tube with pressures in its cells."""
    x = 1e-3 * np.sin(np.arange(model.rest().size))
    x[model.motion.size - 2 : model.motion.size] = 2.0, -3.0
    return x


def test_equal_objects_are_made_once():
    made, mesh_cache = [], MeshCache()

    def make(*arguments):
        made.append(arguments)
        return list(arguments)

    first = mesh_cache.get(make, 1, "a")
    assert mesh_cache.get(make, 1, "a") is first
    assert mesh_cache.get(make, 1, "b") is not first
    assert made == [(1, "a"), (1, "b")]


def test_the_least_recently_used_object_is_dropped():
    made, mesh_cache = [], MeshCache()
    for number in [*range(SIZE), 0, SIZE, 0, 1]:
        mesh_cache.get(made.append, number)
    assert made == [*range(SIZE + 1), 1]


def test_neighbouring_cases_share_one_tube(make_case):
    mesh_cache = MeshCache()
    first = build(make_case(), "fe", MESH, mesh_cache=mesh_cache)
    assert (
        build(make_case(threads__0__angle="10 deg"), "fe", MESH, mesh_cache=mesh_cache).tube
        is first.tube
    )


@pytest.mark.parametrize(
    ("changes", "resolution"),
    [
        ({"tube__wall": "1.6 mm"}, MESH),
        ({"rubber__shear_modulus": "61 kPa"}, MESH),
        ({"threads__0__count": 6}, MESH),
        ({}, "1x1x5"),
    ],
    ids=str,
)
def test_different_tubes_are_not_shared(make_case, changes, resolution):
    mesh_cache = MeshCache()
    first = build(make_case(), "fe", MESH, mesh_cache=mesh_cache)
    other = build(make_case(**changes), "fe", resolution, mesh_cache=mesh_cache)
    alone = FEModel(make_case(**changes), resolution)
    assert other.tube is not first.tube
    assert other.energy(state(other)) == pytest.approx(alone.energy(state(alone)), rel=1e-13)


def test_two_models_on_one_tube_do_not_interfere(make_case):
    """Each is evaluated alternately at a different state, and compared with a separate model."""
    cases = [make_case(threads__0__angle="10 deg"), make_case(threads__0__angle="-20 deg")]
    mesh_cache = MeshCache()
    pair = [build(case, "fe", MESH, mesh_cache=mesh_cache) for case in cases]
    alone = [FEModel(case, MESH) for case in cases]
    states = [state(pair[0]), 0.5 * state(pair[0])]
    for evaluate in (
        lambda model, x: model.energy(x),
        lambda model, x: model.internal_force(x),
        lambda model, x: model.conjugate_displacements(x),
        lambda model, x: model.tube_values(x).wall_stretch,
    ):
        for model, own, x in [*zip(pair, alone, states, strict=True)] * 2:
            assert evaluate(model, x) == pytest.approx(evaluate(own, x), rel=1e-12, abs=1e-12)


def test_an_earlier_tangent_is_factorised_again(make_case):
    """The system keeps the factors of one state; an earlier tangent still solves its system."""
    model = build(make_case(), "fe", MESH)
    x, right = state(model), np.cos(np.arange(model.rest().size))
    first = model.tangent(x, LOADS)
    expected = first.solve(right)
    model.tangent(0.5 * x, LOADS)
    found = first.solve(right)
    assert np.abs(found - expected).max() < ROUND_OFF * np.abs(expected).max()


def test_results_do_not_depend_on_the_cache(make_case):
    mesh_cache = MeshCache()
    for angle in ("-10 deg", "0 deg", "10 deg"):
        for slack in ("taken up", "1 %"):
            case = make_case(threads__0__angle=angle, threads__0__slack=slack, pressure__steps=3)
            (cached,), (alone,) = (
                solve(case, "fe", MESH, **how).runs for how in ({"mesh_cache": mesh_cache}, {})
            )
            assert cached.termination.kind is alone.termination.kind
            for row, other in zip(cached.rows, alone.rows, strict=True):
                for column in ("twist_deg", "displacement_mm", "bulge_mm", "tension_N.A"):
                    assert row[column] == pytest.approx(other[column], rel=1e-6, abs=1e-9)
