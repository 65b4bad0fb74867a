"""The tension law and the helix of a thread family."""

import math

import numpy as np
import pytest

from fem.thread import ThreadFamily

STIFFNESS, TOE = 200.0, 0.01


@pytest.fixture
def family():
    return ThreadFamily(name="A", count=8, angle="60 deg", stiffness="200 N", toe=TOE)


def helix(degrees):
    return ThreadFamily(name="A", count=8, angle=f"{degrees} deg", stiffness="200 N")


def test_thread_carries_exactly_nothing_in_compression(family):
    strain = np.array([-1.0, -0.3, -1e-3, -1e-9, -1e-300, -0.0, 0.0])
    tension, _ = family.tension(strain)
    assert np.all(tension == 0.0)
    assert np.all(family.energy(strain) == 0.0)


def test_compressed_thread_has_exactly_no_stiffness(family):
    _, slope = family.tension(np.array([-1.0, -1e-3, -1e-9]))
    assert np.all(slope == 0.0)


def test_thread_at_rest_is_as_stiff_as_a_taut_one(family):
    """Newton's first step starts where every thread is at rest; with no stiffness it stalls."""
    tension, slope = family.tension(np.zeros(3))
    assert np.all(tension == 0.0)
    assert np.all(slope == STIFFNESS)


# Away from the joints 0 and TOE of the pieces, over which a difference must not reach.
INSIDE = np.array([-0.1, -1e-3, 0.1 * TOE, 0.5 * TOE, 0.9 * TOE, 1.1 * TOE, 2 * TOE, 0.3])


def test_tension_is_the_derivative_of_the_energy(family, derivative):
    difference = derivative(family.energy, INSIDE, np.ones_like(INSIDE), 1e-5)
    # the pieces are cubic at most, so only round-off is left: eps * energy / step, 1e-11 EA at most
    assert family.tension(INSIDE)[0] == pytest.approx(difference, abs=1e-9 * STIFFNESS)


def test_slope_is_the_derivative_of_the_tension(family, derivative):
    difference = derivative(lambda e: family.tension(e)[0], INSIDE, np.ones_like(INSIDE), 1e-5)
    assert family.tension(INSIDE)[1] == pytest.approx(difference, abs=1e-9 * STIFFNESS)  # as above


@pytest.mark.parametrize("joint", [0.0, TOE])
def test_energy_tension_and_slope_are_continuous_where_the_pieces_meet(family, joint):
    gap = 1e-9
    around = joint + np.array([-gap, gap])
    tension, slope = family.tension(around)
    # nothing changes faster than EA / TOE, hence by no more than that times the distance
    most = 2 * gap * STIFFNESS / TOE
    assert abs(np.diff(family.energy(around))[0]) <= most
    assert abs(np.diff(tension)[0]) <= most
    assert abs(np.diff(slope)[0]) <= 1.001 * most  # round-off


def test_tension_inside_the_toe_is_the_parabola(family):
    strain = np.linspace(0, TOE, 11)
    expected = STIFFNESS * strain**2 / (2 * TOE)
    assert family.tension(strain)[0] == pytest.approx(expected, rel=1e-14)  # round-off


def test_tension_beyond_the_toe_lags_by_half_the_toe(family):
    strain = np.array([TOE, 2 * TOE, 0.1, 0.5])
    tension, slope = family.tension(strain)
    assert tension == pytest.approx(STIFFNESS * (strain - TOE / 2), rel=1e-14)  # round-off
    assert np.all(slope == STIFFNESS)


def test_tension_grows_with_the_strain_everywhere(family):
    strain = np.linspace(1e-4, 0.2, 500)
    assert np.all(np.diff(family.tension(strain)[0]) > 0)
    assert np.all(np.diff(family.energy(strain)) > 0)


@pytest.mark.parametrize("shape", [(), (1,), (4,), (2, 3)])
def test_law_keeps_the_shape_and_leaves_its_input_alone(family, shape):
    strain = np.full(shape, 0.02)
    for answer in (*family.tension(strain), family.energy(strain)):
        assert np.shape(answer) == shape
    assert np.all(strain == 0.02)


# Elementary (a right triangle with legs L and R phi), worked apart from the code for L = 100 mm,
# R = 8 mm to ten digits.
@pytest.mark.parametrize(
    ("degrees", "turn", "length"),
    [
        (0, 0.0, 100.0),
        (30, 7.21687836, 115.47005384),
        (60, 21.65063509, 200.0),
        (75, 46.65063509, 386.37033052),
        (-60, -21.65063509, 200.0),
    ],
)
def test_helix_against_worked_figures(degrees, turn, length):
    family = helix(degrees)
    assert family.turn_rate(8.0) * 100 == pytest.approx(turn, abs=5e-9)  # last digit given
    assert family.length(100.0) == pytest.approx(length, abs=5e-9)


def test_length_is_that_of_the_drawn_curve():
    family, radius, length = helix(-40), 6.5, 60.0
    z = np.linspace(0, length, 20001)
    theta = family.turn_rate(radius) * z
    curve = np.column_stack([radius * np.cos(theta), radius * np.sin(theta), z])
    drawn = np.linalg.norm(np.diff(curve, axis=0), axis=1).sum()
    # chords fall short of their arcs by (turn per chord)^2 / 24, 7e-9
    assert drawn == pytest.approx(family.length(length), rel=1e-8)


def test_positive_angle_is_right_handed():
    assert helix(20).turn_rate(5.0) > 0 > helix(-20).turn_rate(5.0)
    assert helix(20).turn_rate(5.0) == pytest.approx(math.tan(math.radians(20)) / 5, rel=1e-15)
