"""The assembled FE model: derivatives, inertia, sector and full tube, loads on the base.

Derivatives are compared entry by entry with differences at random displaced states; for tolerances
see `displaced.py`.
"""

import numpy as np
import pytest

from fem.continuation.load_steps import loading_of, stages_of
from fem.continuation.loading import AXIAL, PRESSURE, TWIST
from fem.continuation.path import follow
from fem.fe.system.low_rank import LowRankUpdate
from fem.fe.wall.cell_forms import PRESSURES
from tests.helpers.displaced import LIMIT, ROUND_OFF, B, L, close

LOADS = np.array([0.02, 3.0, -7.0])
"""Pressure, force and torque; the last two are dead and have no stiffness."""

VARIANTS = {
    "neo-Hookean": {},
    "Mooney-Rivlin": {"rubber": {"law": "Mooney-Rivlin", "c1": "20 kPa", "c2": "10 kPa"}},
    "sliding": {"threads__0__hold": "sliding", "threads__1__hold": "sliding"},
    "one family slides": {"threads__1__hold": "sliding"},
    "slack": {"threads__0__slack": "1 %", "threads__1__slack": "cut at 29 deg"},
    "geodesic": {"threads__0__hold": "geodesic", "threads__1__hold": "geodesic"},
    "sliding and slack": {
        **{"threads__0__hold": "sliding", "threads__0__slack": "1 %"},
        **{"threads__1__hold": "sliding", "threads__1__slack": "cut at 32 deg"},
    },
}


@pytest.fixture(scope="module", params=VARIANTS)
def assembled(request, make_case, make_model):
    """Return a coarse twelfth of the ready tube, for each variant of its threads."""
    return make_model(make_case(**VARIANTS[request.param]), "1x1x2")


def state(model, bulge=0.15, twist=2.0, end_displacement=-4.0):
    """Return unknowns x: bulged in the middle, twisted (rad), shortened (mm), with noise."""
    motion, nodes = model.motion, model.body.nodes
    rng = np.random.default_rng(9)
    radius, z = np.hypot(nodes[:, 0], nodes[:, 1]), nodes[:, 2]
    wave = np.sin(np.pi * z / L)
    c = np.column_stack([bulge * radius * wave, radius * twist * z / L, end_displacement * z / L])
    c += rng.uniform(-0.05, 0.05, c.shape)
    x = np.append(
        np.zeros(motion.size),
        rng.uniform(-0.02, 0.02, PRESSURES * len(model.body.connectivity)),
    )
    moving = motion.scale != 0
    x[motion.unknown[moving]] = c[moving] / motion.scale[moving]
    x[motion.size - 2 : motion.size] = B * twist, end_displacement
    return x


def steps(model):
    """Return a step for each unknown: a length in mm, a pressure in MPa."""
    return np.append(
        np.full(model.motion.size, 1e-3), np.full(len(model.rest()) - model.motion.size, 1e-2)
    )


def by_differences(function, model, x, derivative):
    """Return the derivatives of a function by the unknowns, one per row."""
    return np.array(
        [
            derivative(function, x, unit, step)
            for unit, step in zip(np.eye(len(x)), steps(model), strict=True)
        ]
    )


def hessian_by_differences(model, x, loads, derivative):
    def residual(x):
        return model.internal_force(x) - model.load_vectors(x) @ loads

    return by_differences(residual, model, x, derivative).T


# twist and end displacement at which both families are taut on the coarse tube
STATES = {"bulged": (0.15, 2.0, -4.0), "drawn out": (0.1, -0.5, 6.0)}


@pytest.mark.parametrize("values", STATES)
def test_internal_forces_are_the_derivative_of_the_energy(assembled, derivative, values):
    model = assembled
    x, size = state(model, *STATES[values]), model.motion.size
    slope = by_differences(model.energy, model, x, derivative)
    internal_force = model.internal_force(x)
    assert close(internal_force[:size], slope[:size], LIMIT)
    assert close(internal_force[size:], slope[size:], LIMIT)


def test_load_vectors_are_the_derivatives_of_the_conjugate_displacements(model, derivative):
    x, size = state(model), model.motion.size
    slope = by_differences(model.conjugate_displacements, model, x, derivative)
    load_vectors = model.load_vectors(x)
    for pair in (PRESSURE, AXIAL, TWIST):
        assert close(load_vectors[:, pair], slope[:, pair], LIMIT)
    assert not np.any(load_vectors[size:])


def test_conjugate_displacements_of_a_given_state(model):
    volume, end_displacement, twist = model.conjugate_displacements(state(model))
    assert (end_displacement, twist) == (-4.0, 2.0)
    displacement = model.tube.evaluate(state(model)).displacement
    model.tube.field.set(displacement, np.zeros((len(model.body.connectivity), PRESSURES)))
    assert volume == pytest.approx(model.copies * model.tube.bore.value(), rel=ROUND_OFF)


@pytest.mark.parametrize("values", STATES)
def test_tangent_agrees_with_differences_of_the_residual(assembled, derivative, values):
    model, x = assembled, state(assembled, *STATES[values])
    hessian = hessian_by_differences(model, x, LOADS, derivative)
    tangent = model.tangent(x, LOADS)
    inverse = np.column_stack([tangent.solve(unit) for unit in np.eye(len(x))])
    # entries of the pressures are much larger than the others, so each is scaled
    size = np.sqrt(np.abs(np.diag(hessian)))
    product = (hessian @ inverse) / size[:, None] * size
    assert np.abs(product - np.eye(len(x))).max() < LIMIT
    assert close(inverse, inverse.T, LIMIT)


def test_taut_sliding_threads_are_rank_one_terms(make_case, make_model):
    """This ensures that the tests above include such terms."""
    for name, (first, second) in {
        "sliding": (True, True),
        "one family slides": (False, True),
        "sliding and slack": (True, True),
        "geodesic": (True, True),
    }.items():
        model = make_model(make_case(**VARIANTS[name]), "1x1x2")
        slides = [family.sliding for family in model.threads]
        assert slides == [first, second]
        was_taut = np.zeros(2, dtype=bool)
        for values in STATES.values():
            x = state(model, *values)
            at = model.tube.evaluate(x)
            taut = np.array([family.tension(at).max() > 0 for family in model.threads])
            updated = isinstance(model.tangent(x, LOADS), LowRankUpdate)
            assert updated == np.any(taut & slides)
            was_taut |= taut
        assert was_taut.all()


# elongated, so that the threads are taut; and shortened and inflated
INERTIA_STATES = [((0.0, 0.0, 6.0), 0.0), ((0.15, 2.0, -4.0), 0.02), ((0.15, 2.0, -4.0), 0.8)]


@pytest.mark.parametrize(("values", "load"), INERTIA_STATES)
def test_number_of_negative_eigenvalues(assembled, derivative, values, load):
    """By Sylvester's law of inertia the factors count those of the condensed matrix."""
    model, loads = assembled, np.array([load, 0.0, 0.0])
    x, size = state(model, *values), model.motion.size
    hessian = hessian_by_differences(model, x, loads, derivative)
    condensed = hessian[:size, :size] - hessian[:size, size:] @ np.linalg.solve(
        hessian[size:, size:], hessian[size:, :size]
    )
    eigenvalues = np.linalg.eigvalsh((condensed + condensed.T) / 2)
    # all signs are certain: the error of the differences is 1e-9 of the largest entry
    assert np.abs(eigenvalues).min() > 1e-7 * np.abs(eigenvalues).max()
    assert model.tangent(x, loads).n_negative_eigenvalues == (eigenvalues < 0).sum()


def test_these_states_differ_in_their_negative_eigenvalues(assembled):
    tangents = [
        assembled.tangent(state(assembled, *values), np.array([load, 0.0, 0.0]))
        for values, load in INERTIA_STATES
    ]
    counts = [tangent.n_negative_eigenvalues for tangent in tangents]
    if all(family.hold != "geodesic" for family in assembled.case.threads):
        assert counts[0] == 0  # so taut threads would slip sideways if they could
    assert len(set(counts)) == 3


def test_states_are_not_changed(assembled):
    model = assembled
    x = state(model)
    model.internal_force(x)
    model.conjugate_displacements(x)
    model.tangent(x, LOADS).solve(np.ones_like(x))
    model.tube_values(x)
    assert np.array_equal(x, state(model))


def path(case, model):
    return list(follow(model, loading_of(case), stages_of(case)))


SHORT = {"pressure": {"end": "4 kPa", "steps": 2}}


@pytest.mark.parametrize("variant", ["neo-Hookean", "sliding", "slack"])
def test_sector_and_full_tube_follow_the_same_path(make_case, make_model, variant):
    case = make_case(**VARIANTS[variant], **SHORT)
    ends = []
    for full in (False, True):
        model = make_model(case, "1x1x2", full=full)
        last = path(case, model)[-1]
        tangent = model.tangent(last.x, last.loads)
        ends.append((last, model.energy(last.x), tangent.n_negative_eigenvalues))
    (sector, *others), (full, *others_full) = ends
    # equilibrium is found to 1e-8 of the force scale, and no mode is much softer than the wall
    assert sector.conjugates == pytest.approx(full.conjugates, rel=1e-6)
    assert others == pytest.approx(others_full, rel=1e-6)
    # the work is integrated over steps, whose lengths depend on numbers of iterations
    assert sector.work == pytest.approx(full.work, rel=2e-3)
    assert abs(full.conjugates[TWIST]) > 0.01


ENDS = {
    "free": {},
    "loaded": {"end": {"force": "0.5 N", "torque": "-2 N mm"}},
    "fixed": {"end": {"axial": "held", "twist": "held"}},
    "springs": {"end": {"axial_spring": "0.5 N/mm", "twist_spring": "20 N mm/rad"}},
}


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize("variant", ["neo-Hookean", "sliding", "slack"])
def test_reactions_at_the_base_balance_the_loads(make_case, make_model, variant, end):
    case = make_case(**VARIANTS[variant], **ENDS[end], **SHORT)
    model = make_model(case, "1x1x2")
    last = path(case, model)[-1]
    found = model.reactions(last.x, last.loads)
    thrust, pull, torque = last.loads * [found.bore_area, 1.0, 1.0]
    # the area is that of the circle, that of the mesh is 1.6e-4 smaller (see the enclosed volume)
    assert found.force == pytest.approx(thrust + pull, abs=5e-4 * thrust)
    assert found.torque == pytest.approx(torque, abs=1e-4 * thrust * B)
    assert thrust > 0.1
    assert end == "free" or abs(pull) > 0.01 < abs(torque)
