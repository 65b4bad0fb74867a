"""The helix of a thread on the undeformed tube."""

import math

import numpy as np
import pytest

from fem.threads.helix import Helix


# Elementary (a right triangle with legs L and R phi), worked independently for L = 100 mm,
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
def test_helix_against_worked_values(degrees, turn, length):
    helix = Helix(math.radians(degrees), 8.0, 100.0)
    assert helix.ring_turn == pytest.approx(turn, abs=5e-9)  # last digit given
    assert helix.length == pytest.approx(length, abs=5e-9)


def test_length_is_that_of_the_curve():
    radius, length = 6.5, 60.0
    helix = Helix(math.radians(-40), radius, length)
    z = np.linspace(0, length, 20001)
    theta = helix.turn_rate * z
    curve = np.column_stack([radius * np.cos(theta), radius * np.sin(theta), z])
    polygon = np.linalg.norm(np.diff(curve, axis=0), axis=1).sum()
    # chords are shorter than their arcs by (turn per chord)^2 / 24, relative 7e-9
    assert polygon == pytest.approx(helix.length, rel=1e-8)


def test_positive_angle_is_right_handed():
    rate, other = (Helix(math.radians(degrees), 5.0, 60.0).turn_rate for degrees in (20, -20))
    assert rate > 0 > other
    assert rate == pytest.approx(math.tan(math.radians(20)) / 5, rel=1e-15)


# The formula of Euler and Eytelwein (from memory), worked independently to nine digits:
# exp(0.2 * 4 pi sin(60 deg)) for two turns of a helix, exp(0.2 pi) for half a turn of a hoop.
def test_capstan_ratio_of_two_turns_at_60_degrees():
    two_turns = 4 * math.pi * 8.0 / math.tan(math.radians(60))  # length of tube, R = 8 mm
    helix = Helix(math.radians(60), 8.0, two_turns)
    assert helix.wrap == pytest.approx(4 * math.pi * math.sin(math.pi / 3))
    assert helix.capstan_ratio(0.2) == pytest.approx(8.81592052, abs=5e-9)


def test_capstan_ratio_of_a_steep_helix_is_that_of_a_hoop():
    angle = math.radians(89.9999)
    half_turn = math.pi * 8.0 / math.tan(angle)
    # 1 - sin is 1.5e-12 here
    assert Helix(angle, 8.0, half_turn).capstan_ratio(0.2) == pytest.approx(1.87445609, abs=5e-9)


def test_wrap_is_length_times_curvature_for_either_hand():
    for degrees in (-40, 40):
        helix = Helix(math.radians(degrees), 6.5, 60.0)
        curvature = math.sin(helix.angle) ** 2 / 6.5
        assert helix.wrap == pytest.approx(helix.length * curvature, rel=1e-14)


def test_tension_is_constant_without_friction_or_without_wrap():
    assert Helix(math.radians(40), 6.5, 60.0).capstan_ratio(0.0) == 1.0
    assert Helix(0.0, 6.5, 60.0).capstan_ratio(0.5) == 1.0


def test_capstan_ratio_of_a_thousand_turns_is_infinite():
    assert Helix(math.radians(60), 1.0, 3000.0).capstan_ratio(2.0) == math.inf


def test_angle_follows_from_the_turn_of_the_ring():
    """For R = 8 mm, L = 100 mm, worked independently: 60 degrees for 21.65063509 rad."""
    turns = np.array([21.65063509, -21.65063509])
    helix = Helix.of_ring(turns, 8.0, 100.0)
    assert np.degrees(helix.angle) == pytest.approx(np.array([60, -60]), abs=1e-8)
    assert helix.ring_turn == pytest.approx(turns, rel=1e-15)
