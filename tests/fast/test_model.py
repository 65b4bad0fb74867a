"""The fast model: forces, load vectors, tangent, outputs, symmetry, equilibrium."""

import numpy as np
import pytest

from fem.continuation.load_steps import loading_of, stages_of
from fem.continuation.loading import AXIAL, PRESSURE, TWIST
from fem.continuation.newton import TOLERANCE
from fem.continuation.path import follow
from fem.fast.model import DenseTangent, FastModel
from tests.helpers.uniform import LIMIT, close, state_of, states
from validation.reference_tube import ThickTube


@pytest.fixture(scope="module")
def model(make_case):
    return FastModel(make_case())


def test_internal_forces_are_the_derivative_of_the_energy(model, derivative):
    for x in state_of(model, states(6)):
        slope = [derivative(model.energy, x, e, 1e-3) for e in np.eye(3)]
        assert close(model.internal_force(x), np.array(slope), LIMIT)


def test_load_vectors_are_the_derivatives_of_the_conjugate_displacements(model, derivative):
    for x in state_of(model, states(6)):
        slope = np.array([derivative(model.conjugate_displacements, x, e, 1e-2) for e in np.eye(3)])
        load_vectors = model.load_vectors(x)
        for pair in (PRESSURE, AXIAL, TWIST):
            assert close(load_vectors[:, pair], slope[:, pair], LIMIT)


def test_conjugate_displacements_of_a_given_state(model):
    x = np.array([0.3, 1.3, -2.0])
    volume, end_displacement, twist = model.conjugate_displacements(x)
    assert volume == pytest.approx(np.pi * 5.3**2 * 58.0, rel=1e-14)
    assert (end_displacement, twist) == (-2.0, 1.3 / 6.5)


VARIANTS = {
    "bonded": {},
    "slack": {"threads__0__slack": "3 %", "threads__1__slack": "cut at 20 deg"},
    "cut short": {"threads__0__slack": "cut at 40 deg"},
}


@pytest.mark.parametrize("variant", VARIANTS)
def test_tangent_solves_for_the_change_of_the_residual(make_case, variant, derivative):
    """Force and torque are dead loads without stiffness."""
    model = FastModel(make_case(**VARIANTS[variant]))
    loads = np.array([0.02, 3.0, -7.0])
    for x in state_of(model, states(6)):
        right = np.array([1.0, -2.0, 3.0])
        step = model.tangent(x, loads).solve(right)
        size = np.abs(step).max()

        def residual(x):
            return model.internal_force(x) - model.load_vectors(x) @ loads

        change = derivative(residual, x, step / size, 1e-4) * size
        assert close(change, right, LIMIT)


def test_slack_is_the_strain_at_which_a_thread_becomes_taut(make_case):
    """The tube is stretched by 1 + s along the axis and around it."""
    case = make_case(threads__0__slack="4 %", threads__1__slack="4 %")
    model, bare = FastModel(case), FastModel(make_case(threads=[]))
    tube = case.tube
    A, B = tube.bore_radius, tube.outer_radius
    # on the outer radius both principal stretches are 1.04 less or more a small offset
    for offset, taut in ((-1e-6, False), (1e-6, True)):
        stretch = 1.04 + offset
        a = np.sqrt((stretch * B) ** 2 - (B**2 - A**2) / stretch)
        x = state_of(model, np.array([a, stretch, 0.0]))
        threads = model.tube_values(x).threads[0]
        assert (threads.tension > 0) == taut
        assert threads.strain == pytest.approx(offset / 1.04, rel=1e-6)
        same = model.internal_force(x) == pytest.approx(bare.internal_force(x), rel=1e-14)
        assert same != taut
        assert (model.energy(x) == pytest.approx(bare.energy(x), rel=1e-14)) or taut


def test_fraction_of_the_prestress(make_case):
    """The tension at rest is that of the fraction; the natural length is that of the case."""
    case = make_case(threads__0__slack="cut at 10 deg")
    model, slack = FastModel(case), case.threads[0].slack_strain
    model.set_prestress_fraction(0.5)
    (threads, _), strain = model.tube_values(model.rest()).threads, 1 / (1 + slack / 2) - 1
    assert threads.strain == pytest.approx(strain, rel=1e-12)
    assert strain > case.threads[0].toe
    assert threads.tension == pytest.approx(200.0 * (strain - case.threads[0].toe / 2), rel=1e-12)
    natural = (1 + slack) * 60 / np.cos(np.radians(20))
    assert threads.length == pytest.approx(natural, rel=1e-12)


def test_energy_of_slack_threads_is_per_natural_length(make_case):
    """N L / cos(alpha) (1 + s) EA H(e), with e from the natural length."""
    case = make_case(threads__0__slack="3 %")
    family = case.threads[0]
    one, both = FastModel(case.changed(threads=case.data["threads"][1:])), FastModel(case)
    y = np.array([8.0, 1.4, 0.02])
    strain = ThickTube(case).stretch(family, y).value / 1.03 - 1
    assert strain > family.toe
    stored = 200.0 * (strain**2 / 2 - strain * family.toe / 2 + family.toe**2 / 6)
    total = 12 * 60.0 / np.cos(np.radians(20)) * 1.03 * stored
    stored_in_both, stored_in_one = (model.energy(state_of(model, y)) for model in (both, one))
    assert stored_in_both - stored_in_one == pytest.approx(total, rel=1e-12)


def test_sliding_makes_no_difference_to_a_uniform_tube(make_case):
    sliding = make_case(threads__0__hold="sliding", threads__1__hold="sliding")
    models = FastModel(make_case()), FastModel(sliding)
    for x in state_of(models[0], states(4)):
        assert models[0].energy(x) == models[1].energy(x)
        assert np.array_equal(models[0].internal_force(x), models[1].internal_force(x))


def test_tube_without_radius_or_length_has_no_residual(model):
    for x in ([-5.0, 0.0, 0.0], [0.0, 0.0, -60.0]):
        assert np.isnan(model.internal_force(np.array(x))).all()


def test_values_of_a_given_state(model):
    x = np.array([0.3, 1.3, -2.0])
    values = model.tube_values(x)
    assert values.twist == pytest.approx(1.3 / 6.5, rel=1e-15)  # round-off
    assert values.displacement == -2.0
    a, lam, tau = model.kinematic(x)
    assert (a, lam) == pytest.approx((5.3, 58 / 60), rel=1e-15)
    assert tau * 60 == pytest.approx(values.twist, rel=1e-15)


def test_tangent_counts_negative_eigenvalues():
    tangents = [DenseTangent(np.diag([1.0, s, t])) for s in (-1, 1) for t in (-2, 2)]
    assert [tangent.n_negative_eigenvalues for tangent in tangents] == [2, 1, 1, 0]


@pytest.mark.parametrize(
    "matrix", [np.full((3, 3), np.nan), np.diag([1.0, 0.0, 1.0])], ids=["nan", "singular"]
)
def test_tangent_that_cannot_be_factorised_is_an_arithmetic_error(matrix):
    with pytest.raises(ArithmeticError):
        DenseTangent(matrix).solve(np.ones(3))


def end(case):
    model = FastModel(case)
    *_, state = follow(model, loading_of(case), stages_of(case))
    assert state.pressure == pytest.approx(case.pressure.end, abs=1e-12)
    return model.tube_values(state.x)


def test_mirrored_tube_twists_the_other_way(make_case):
    plain = end(make_case())
    mirrored = end(make_case(threads__0__angle="-20 deg", threads__1__angle="30 deg"))
    # both have the same iterations except for the sign
    assert mirrored.twist == pytest.approx(-plain.twist, rel=1e-12)
    assert mirrored.displacement == pytest.approx(plain.displacement, rel=1e-12)
    assert abs(plain.twist) > 0.1


def test_order_of_the_families_makes_no_difference(make_case):
    plain = end(make_case())
    swapped = end(make_case(threads__0__angle="-30 deg", threads__1__angle="20 deg"))
    # equilibria are found to TOLERANCE, and no mode here is much softer than the wall
    assert swapped.twist == pytest.approx(plain.twist, rel=1e-6)


def test_single_right_handed_family_unwinds(make_case):
    """A tube under pressure grows in radius, and inextensible threads unwind."""
    single = [{"name": "A", "count": 12, "angle": "30 deg", "stiffness": "200 N"}]
    assert end(make_case(threads=single, pressure__end="8 kPa")).twist < -0.1


def test_torque_of_the_threads_is_the_derivative_of_their_energy(model, derivative):
    """It is n T times the arm about the axis, at the current radius and angle."""
    for x in state_of(model, states(6)):
        values = model.tube_values(x)
        for family, threads in zip(model.case.threads, values.threads, strict=True):
            if threads.tension == 0.0:
                continue
            reference = ThickTube(model.case)

            def energy(x, family=family, reference=reference):
                return reference.thread_energy(family, model.kinematic(x)).value

            by_twist = np.array([0.0, model.case.tube.outer_radius, 0.0])
            expected = derivative(energy, x, by_twist, 1e-4)
            assert threads.torque == pytest.approx(expected, rel=LIMIT)
            assert threads.pull == pytest.approx(family.count * threads.tension, rel=1e-14)


def test_reactions_are_the_derivatives_of_the_energy(model, derivative):
    """Force by the end displacement (mm), torque by the twist (rad)."""
    for x in state_of(model, states(6)):
        found = model.reactions(x, np.array([0.02, 0.0, 0.0]))
        by_twist = np.array([0.0, model.case.tube.outer_radius, 0.0])
        by_end_displacement = np.array([0.0, 0.0, 1.0])
        force = derivative(model.energy, x, by_end_displacement, 1e-2)
        torque = derivative(model.energy, x, by_twist, 1e-3)
        assert found.force == pytest.approx(force, rel=LIMIT)
        assert found.torque == pytest.approx(torque, rel=LIMIT)


ENDS = {
    "free": {},
    "loaded": {"end": {"force": "2 N", "torque": "-5 N mm"}},
    "fixed": {"end": {"axial": "held", "twist": "held"}},
}


@pytest.mark.parametrize("end", ENDS)
def test_reactions_balance_the_loads(make_case, end):
    case = make_case(**ENDS[end])
    model = FastModel(case)
    for state in follow(model, loading_of(case), stages_of(case)):
        found = model.reactions(state.x, state.loads)
        thrust = state.pressure * found.bore_area
        # the iterations end at this residual force of each unknown
        gap = TOLERANCE * case.force_scale
        assert found.force == pytest.approx(thrust + state.loads[AXIAL], abs=gap)
        assert abs(found.torque - state.loads[TWIST]) < gap * case.tube.outer_radius
