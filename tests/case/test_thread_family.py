"""The tension law and the helix of a thread family."""

import math

import numpy as np
import pytest

from fem.case.thread_family import ThreadFamily

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


# --- slack, friction, how it is held --------------------------------------------------------


def made(**keys):
    return ThreadFamily(name="A", count=8, stiffness="200 N", **keys)


@pytest.mark.parametrize(
    ("slack", "expected"), [("taken up", 0.0), ("3 %", 0.03), ("cut at 60 deg", -0.0)]
)
def test_natural_length_is_longer_by_the_slack(slack, expected):
    family = made(angle="60 deg", slack=slack)
    lengths = np.array([1.0, 2.0, 0.5])
    assert family.slack_strain == pytest.approx(expected, abs=1e-15)  # round-off
    assert family.natural(lengths) == pytest.approx((1 + expected) * lengths, rel=1e-15)


def test_thread_cut_at_an_angle_has_the_length_of_that_helix():
    family = made(angle="20 deg", slack="cut at 45 deg")
    cut = made(angle="45 deg")
    assert family.natural(family.length(60.0)) == pytest.approx(cut.length(60.0), rel=1e-15)


# The formula of Euler and Eytelwein (from memory), worked apart from the code to nine digits:
# exp(0.2 * 4 pi sin(60 deg)) for two turns of a helix, exp(0.2 pi) for half a turn of a hoop.
def test_capstan_ratio_of_two_turns_at_60_degrees():
    family = made(angle="60 deg", hold="gliding", friction=0.2)
    two_turns = 4 * math.pi * 8.0 / math.tan(math.radians(60))  # length of tube, R = 8 mm
    assert family.wrap(8.0, two_turns) == pytest.approx(4 * math.pi * math.sin(math.pi / 3))
    assert family.capstan_ratio(8.0, two_turns) == pytest.approx(8.81592052, abs=5e-9)


def test_capstan_ratio_of_a_steep_helix_is_that_of_a_hoop():
    family = made(angle="89.9999 deg", hold="free path", friction=0.2)
    half_turn = math.pi * 8.0 / math.tan(family.angle)
    # 1 - sin is 1.5e-12 here
    assert family.capstan_ratio(8.0, half_turn) == pytest.approx(1.87445609, abs=5e-9)


def test_wrap_is_length_times_curvature_for_either_hand():
    for degrees in (-40, 40):
        family = made(angle=f"{degrees} deg")
        curvature = math.sin(family.angle) ** 2 / 6.5
        assert family.wrap(6.5, 60.0) == pytest.approx(family.length(60.0) * curvature, rel=1e-14)


def test_tension_does_not_change_along_a_thread_without_friction_or_without_a_turn():
    assert made(angle="40 deg", hold="gliding").capstan_ratio(6.5, 60.0) == 1.0
    assert made(angle="0 deg", hold="gliding", friction=0.5).capstan_ratio(6.5, 60.0) == 1.0


def test_capstan_ratio_of_a_thousand_turns_is_infinite_and_no_error():
    family = made(angle="60 deg", hold="gliding", friction=2)
    assert family.capstan_ratio(1.0, 3000.0) == math.inf


@pytest.mark.parametrize("hold", ["gliding", "free path"])
def test_thread_that_glides_may_have_friction(hold):
    assert made(angle="40 deg", hold=hold, friction=0.3).friction == 0.3


def test_bonded_thread_has_no_friction():
    with pytest.raises(ValueError, match="a bonded thread does not slide"):
        made(angle="40 deg", friction=0.0)


def test_family_by_its_ring_gets_its_angle_on_a_tube():
    """For R = 8 mm, L = 100 mm, worked apart from the code: 60 degrees for 21.65063509 rad."""
    family = made(ring_turn="21.65063509 rad").on(8.0, 100.0)
    assert math.degrees(family.angle) == pytest.approx(60, abs=1e-8)
    assert made(ring_turn="-21.65063509 rad").on(8.0, 100.0).angle == -family.angle


def test_family_by_its_angle_is_the_same_on_any_tube():
    family = made(angle="40 deg")
    assert family.on(8.0, 100.0) is family


@pytest.mark.parametrize("keys", [{}, {"angle": "1 deg", "ring_turn": "1 deg"}])
def test_just_one_of_angle_and_ring_turn_is_due(keys):
    with pytest.raises(ValueError, match=r"this key is missing, or else|is given too; give either"):
        made(**keys)
