"""The tension law of a thread, and its natural length."""

import numpy as np
import pytest

from fem.threads.tension import TensionLaw, applied_slack

STIFFNESS, TOE = 200.0, 0.01


@pytest.fixture
def law():
    return TensionLaw(STIFFNESS, TOE)


def test_tension_is_exactly_zero_in_compression(law):
    strain = np.array([-1.0, -0.3, -1e-3, -1e-9, -1e-300, -0.0, 0.0])
    tension, _ = law.tension(strain)
    assert np.all(tension == 0.0)
    assert np.all(law.energy(strain) == 0.0)


def test_stiffness_is_exactly_zero_in_compression(law):
    _, stiffness = law.tension(np.array([-1.0, -1e-3, -1e-9]))
    assert np.all(stiffness == 0.0)


def test_thread_at_rest_is_as_stiff_as_a_taut_one(law):
    """The first Newton step starts with every thread at rest, and stalls without stiffness."""
    tension, stiffness = law.tension(np.zeros(3))
    assert np.all(tension == 0.0)
    assert np.all(stiffness == STIFFNESS)


# Away from the joints 0 and TOE of the pieces, which a difference must not cross.
INSIDE = np.array([-0.1, -1e-3, 0.1 * TOE, 0.5 * TOE, 0.9 * TOE, 1.1 * TOE, 2 * TOE, 0.3])


def test_tension_is_the_derivative_of_the_energy(law, derivative):
    difference = derivative(law.energy, INSIDE, np.ones_like(INSIDE), 1e-5)
    # the pieces are at most cubic, so only round-off remains: eps * energy / step, at most 1e-11 EA
    assert law.tension(INSIDE)[0] == pytest.approx(difference, abs=1e-9 * STIFFNESS)


def test_stiffness_is_the_derivative_of_the_tension(law, derivative):
    difference = derivative(lambda e: law.tension(e)[0], INSIDE, np.ones_like(INSIDE), 1e-5)
    assert law.tension(INSIDE)[1] == pytest.approx(difference, abs=1e-9 * STIFFNESS)  # as above


@pytest.mark.parametrize("joint", [0.0, TOE])
def test_energy_tension_and_slope_are_continuous_where_the_pieces_meet(law, joint):
    gap = 1e-9
    around = joint + np.array([-gap, gap])
    tension, stiffness = law.tension(around)
    # the derivatives are at most EA / TOE
    most = 2 * gap * STIFFNESS / TOE
    assert abs(np.diff(law.energy(around))[0]) <= most
    assert abs(np.diff(tension)[0]) <= most
    assert abs(np.diff(stiffness)[0]) <= 1.001 * most  # round-off


def test_tension_in_the_toe_region_is_a_parabola(law):
    strain = np.linspace(0, TOE, 11)
    expected = STIFFNESS * strain**2 / (2 * TOE)
    assert law.tension(strain)[0] == pytest.approx(expected, rel=1e-14)  # round-off


def test_tension_beyond_the_toe_region_is_offset_by_half_the_toe(law):
    strain = np.array([TOE, 2 * TOE, 0.1, 0.5])
    tension, stiffness = law.tension(strain)
    assert tension == pytest.approx(STIFFNESS * (strain - TOE / 2), rel=1e-14)  # round-off
    assert np.all(stiffness == STIFFNESS)


def test_tension_grows_with_the_strain_everywhere(law):
    strain = np.linspace(1e-4, 0.2, 500)
    assert np.all(np.diff(law.tension(strain)[0]) > 0)
    assert np.all(np.diff(law.energy(strain)) > 0)


@pytest.mark.parametrize("shape", [(), (1,), (4,), (2, 3)])
def test_law_keeps_the_shape_and_does_not_change_its_input(law, shape):
    strain = np.full(shape, 0.02)
    for values in (*law.tension(strain), law.energy(strain)):
        assert np.shape(values) == shape
    assert np.all(strain == 0.02)


def test_constants_may_be_arrays():
    """One law with arrays of constants equals many laws with numbers."""
    stiffness, toe = np.array([100.0, 200.0]), np.array([0.01, 0.02])
    strain = np.linspace(-0.01, 0.05, 13)[:, None]
    many = TensionLaw(stiffness, toe)
    for k in range(2):
        one = TensionLaw(stiffness[k], toe[k])
        for together, alone in zip(many.tension(strain), one.tension(strain[:, 0]), strict=True):
            assert np.array_equal(together[:, k], alone)
        assert np.array_equal(many.energy(strain)[:, k], one.energy(strain[:, 0]))


def test_fraction_applies_to_negative_slack_only():
    """With half of the prestress a thread that is 10 % too short counts as 5 % too short."""
    assert applied_slack(-0.1, 0.5) == -0.05
    assert applied_slack(np.array([-0.1, 0.1]), 0.0).tolist() == [0.0, 0.1]
    assert applied_slack(np.array([-0.1, 0.1]), 1.0).tolist() == [-0.1, 0.1]
