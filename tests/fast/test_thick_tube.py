"""The energy of the fast model: the reference in validation/, a given motion, a published tube.

The reference is checked too: its derivatives by differences, its invariants and stretches by a
given motion.
"""

import numpy as np
import pytest

from fem.continuation.loading import PRESSURE
from fem.fast.model import FastModel
from tests.helpers.uniform import LIMIT, close, state_of, states
from validation.reference_tube import ThickTube

LAWS = ["neo-Hookean", "Mooney-Rivlin", "Ogden"]  # only the last couples its two invariants
TWISTED_UP = [7.0, 1.15, 0.03]


@pytest.fixture(params=LAWS)
def tube(request, make_case, rubbers):
    """Return a tube with a long toe region, which contains some of the random states."""
    return ThickTube(make_case(rubber=rubbers[request.param], threads__0__toe=0.2))


def move(y, case, X):
    """Return the current position of the Cartesian point X by eq. (1) of the kinematics."""
    a, lam, tau = y
    R, theta = np.hypot(X[0], X[1]), np.arctan2(X[1], X[0])
    r = np.sqrt(a**2 + (R**2 - case.tube.bore_radius**2) / lam)
    return np.array([r * np.cos(theta + tau * X[2]), r * np.sin(theta + tau * X[2]), lam * X[2]])


def gradient(y, case, X, derivative):
    """Return F at X by differences of the motion."""
    columns = [derivative(lambda x: move(y, case, x), X, e, 1e-2) for e in np.eye(3)]
    return np.column_stack(columns)


# Steps of 1e-3 of the range of each unknown have an error of 1e-12 (the fourth power) and a
# round-off of 1e-13 (eps over the step), far below the tolerance of 1e-6 of each derivative.
STEPS = np.diag([4.5e-3, 7e-4, 1e-4])


def check_jet(function, derivative):
    """Compare the gradient and the Hessian of a jet with differences, state by state."""
    for y in states():
        jet = function(y)
        slope = np.array([derivative(lambda x: function(x).value, y, e, 1.0) for e in STEPS])
        second = np.array([derivative(lambda x: function(x).gradient, y, e, 1.0) for e in STEPS])
        assert close(STEPS @ jet.gradient, slope, LIMIT)
        assert close(STEPS @ jet.hessian @ STEPS, second @ STEPS, LIMIT)
        assert close(jet.hessian, jet.hessian.T, 1e-14)  # round-off


@pytest.mark.parametrize("slack", ["taken up", "3 %", "cut at 15 deg"])
@pytest.mark.parametrize("law", LAWS)
def test_both_energies_agree(make_case, rubbers, law, slack):
    """Energy, forces, stiffness under pressure, and volume, from two derivations, also at rest."""
    changes = {"threads__0__toe": 0.2, "threads__0__slack": slack, "tube__wall": "3 mm"}
    case = make_case(rubber=rubbers[law], **changes)
    model, reference = FastModel(case), ThickTube(case)
    A, B, L = reference.A, reference.B, reference.length
    to_y = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1 / L], [0.0, 1 / (B * L), 0.0]])  # dy/dx
    size = np.abs(reference.wall_energy(np.array(TWISTED_UP)).gradient @ to_y).max()
    for y in [*states(), np.array([A, 1.0, 0.0])]:
        x, energy, volume = state_of(model, y), reference.energy(y), reference.volume(y)
        # the reference contains differences of large numbers, the model does not
        assert model.energy(x) == pytest.approx(energy.value, rel=1e-10, abs=1e-12)
        assert np.abs(model.internal_force(x) - energy.gradient @ to_y).max() < 1e-10 * size
        assert model.conjugate_displacements(x)[PRESSURE] == pytest.approx(volume.value, rel=1e-14)
        assert close(model.load_vectors(x)[:, PRESSURE], volume.gradient @ to_y, 1e-14)
        stiffness = to_y.T @ (energy.hessian - 0.02 * volume.hessian) @ to_y
        solved = model.tangent(x, np.array([0.02, 0.0, 0.0])).solve(stiffness)
        assert close(solved, np.eye(3), 1e-7)  # fewer digits by the condition of the stiffness


def test_derivatives_of_the_volume(tube, derivative):
    check_jet(tube.volume, derivative)


def test_derivatives_of_the_wall_energy(tube, derivative):
    check_jet(tube.wall_energy, derivative)


@pytest.mark.parametrize("number", [0, 1])
def test_derivatives_of_the_stretch(tube, number, derivative):
    check_jet(lambda y: tube.stretch(tube.case.threads[number], y), derivative)


def test_derivatives_of_the_energy_of_threads(tube, derivative):
    for family in tube.case.threads:
        strain = tube.stretch(family, states()).value - 1
        # no difference may cross an end of the toe region, where the third derivative jumps
        assert np.abs(np.subtract.outer(strain, [0.0, family.toe])).min() > 1e-3
        check_jet(lambda y, family=family: _never_zero(tube, family, y), derivative)
    strain = tube.stretch(tube.case.threads[0], states()).value - 1
    assert np.any(strain < 0) and np.any((strain > 0) & (strain < 0.2)) and np.any(strain > 0.2)


def _never_zero(tube, family, y):
    """Return the energy of taut threads, or the volume where the threads are slack.

    `close` compares with the largest entry, which must not be zero.
    """
    jet = tube.thread_energy(family, y)
    if tube.stretch(family, y).value > 1:
        return jet
    assert jet.value == 0.0
    assert not np.any(jet.gradient)
    assert not np.any(jet.hessian)
    return tube.volume(y)


def test_energy_of_threads_is_proportional_to_their_length(tube):
    """Each of N threads has the length L / cos(alpha) and stores EA H(e) per millimetre."""
    family, y = tube.case.threads[1], np.array([8.0, 1.4, 0.0])
    lengthwise, crosswise = 1.4 * np.cos(family.angle), np.sin(family.angle)
    outer = np.sqrt(8.0**2 + (6.5**2 - 5.0**2) / 1.4)
    strain = np.hypot(lengthwise, crosswise * outer / 6.5) - 1
    assert strain > family.toe
    stored = 200.0 * (strain**2 / 2 - strain * family.toe / 2 + family.toe**2 / 6)
    total = 12 * 60.0 / np.cos(np.radians(30)) * stored
    assert tube.thread_energy(family, y).value == pytest.approx(total, rel=1e-12)  # round-off


def test_energy_is_the_sum_of_its_parts(tube):
    parts = [
        tube.wall_energy(states()),
        *(tube.thread_energy(f, states()) for f in tube.case.threads),
    ]
    for total, *summands in zip(tube.energy(states()), *parts, strict=True):
        assert close(total, sum(summands), 1e-15)  # round-off of a sum of three


def test_array_of_states_gives_the_same_as_single_states(tube):
    batch = states(12).reshape(3, 4, 3)
    for function in (tube.volume, tube.wall_energy, tube.energy):
        together = function(batch)
        assert together.value.shape == (3, 4)
        assert together.gradient.shape == (3, 4, 3)
        assert together.hessian.shape == (3, 4, 3, 3)
        for index in np.ndindex(3, 4):
            alone = function(batch[index])
            for all_of_them, one in zip(together, alone, strict=True):
                assert close(all_of_them[index], one, 1e-14)  # sums may be in another order


def test_states_are_not_changed(tube):
    batch = states()
    tube.energy(batch)
    assert np.array_equal(batch, states())


def test_invariants_agree_with_the_motion(tube, derivative):
    for y in states(4):
        first, second = tube.invariants(y)
        for number in (0, 3, -1):
            X = tube.R[number] * np.array([np.cos(0.7), np.sin(0.7), 0.0]) + [0, 0, 11.0]
            F = gradient(y, tube.case, X, derivative)
            C = F.T @ F
            i1, i2 = np.trace(C), (np.trace(C) ** 2 - np.trace(C @ C)) / 2
            # the error of a difference over 0.01 mm is (0.01 mm / radius)^4, 1e-11
            assert np.linalg.det(F) == pytest.approx(1.0, abs=1e-9)
            assert first.value[number] == pytest.approx(i1, rel=1e-9)
            assert second.value[number] == pytest.approx(i2, rel=1e-9)


def test_stretch_of_threads_agrees_with_the_motion(tube, derivative):
    for family in tube.case.threads:
        along = [0.0, np.sin(family.angle), np.cos(family.angle)]  # at theta = 0
        for y in states(4):
            F = gradient(y, tube.case, np.array([tube.B, 0.0, 20.0]), derivative)
            stretch = np.linalg.norm(F @ along)
            assert tube.stretch(family, y).value == pytest.approx(stretch, rel=1e-9)  # as above


def test_largest_wall_stretch_agrees_with_the_motion(make_case, derivative):
    case = make_case()
    model = FastModel(case)
    y = np.array(TWISTED_UP)
    x = state_of(model, y)
    stretches = [
        np.linalg.norm(gradient(y, case, np.array([R, 0.0, 20.0]), derivative), ord=2)
        for R in np.linspace(case.tube.bore_radius, case.tube.outer_radius, 21)
    ]
    assert model.tube_values(x).wall_stretch == pytest.approx(max(stretches), rel=1e-9)  # as above


def test_tube_at_rest_stores_nothing_and_is_in_equilibrium(tube):
    rest = np.array([tube.A, 1.0, 0.0])
    energy = tube.energy(rest)
    scale = tube.wall_energy(np.array(TWISTED_UP)).value
    assert abs(energy.value) < 1e-13 * scale  # round-off
    assert np.abs(energy.gradient).max() < 1e-12 * scale
    assert np.linalg.eigvalsh(energy.hessian).min() > 0
    # by the formula of a cylinder
    assert tube.volume(rest).value == pytest.approx(np.pi * tube.A**2 * tube.length, rel=1e-15)


# Thick incompressible tube, A = 6 mm, B = 8 mm, C1 = 0.05 MPa, at a = 7.5 mm, lambda = 1.2:
# R. S. Rivlin, Phil. Trans. R. Soc. A 242, 173 (1949), doi 10.1098/rsta.1949.0009; formulas from
# memory, re-derived; these values by quadrature of the stress, independent of the code.
@pytest.mark.parametrize(
    ("tau", "pressure", "force", "torque"),
    [(0.0, 15.21622e-3, 3.66240838, 0.0), (0.02, 15.68288e-3, 3.56283735, 11.94852406)],
)
def test_pressure_force_and_torque_at_given_deformation(make_case, tau, pressure, force, torque):
    case = make_case(
        tube__bore_radius="6 mm",
        tube__wall="2 mm",
        rubber__shear_modulus="100 kPa",
        threads=[],
    )
    model = FastModel(case)
    L, B = case.tube.length, case.tube.outer_radius
    x = np.array([1.5, B * tau * L, 0.2 * L])
    pressure_force = pressure * model.load_vectors(x)[:, PRESSURE]
    radial, by_twist, axial = model.internal_force(x) - pressure_force
    assert abs(radial) < 1e-6 * pressure_force[0]  # seven digits of the pressure are given
    assert axial == pytest.approx(force, rel=1e-6)  # it depends on that pressure
    assert by_twist * B == pytest.approx(torque, rel=1e-8, abs=1e-12)  # nine digits are given
