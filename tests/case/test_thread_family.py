"""The table of a thread family: slack, friction, angle or turn of the ring."""

import math

import numpy as np
import pytest

from fem.case.thread_family import ThreadFamily
from fem.case.tube import Tube
from tests.helpers.messages import refused

TUBE = Tube(bore_radius="6 mm", wall="2 mm", length="100 mm")


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
    assert family.natural(family.helix(TUBE).length) == pytest.approx(
        cut.helix(TUBE).length, rel=1e-15
    )


@pytest.mark.parametrize("hold", ["sliding", "geodesic"])
def test_sliding_thread_may_have_friction(hold):
    assert made(angle="40 deg", hold=hold, friction=0.3).friction == 0.3


def test_bonded_thread_has_no_friction():
    with refused(ValueError, "friction", "bonded", 'hold = "sliding"'):
        made(angle="40 deg", friction=0.0)


def test_family_by_its_ring_gets_its_angle_on_a_tube():
    """For R = 8 mm, L = 100 mm, worked independently: 60 degrees for 21.65063509 rad."""
    family = made(ring_turn="21.65063509 rad").on(TUBE)
    assert math.degrees(family.angle) == pytest.approx(60, abs=1e-8)
    assert made(ring_turn="-21.65063509 rad").on(TUBE).angle == -family.angle


def test_family_by_its_angle_is_the_same_on_any_tube():
    family = made(angle="40 deg")
    assert family.on(TUBE) is family


@pytest.mark.parametrize("keys", [{}, {"angle": "1 deg", "ring_turn": "1 deg"}])
def test_exactly_one_of_angle_and_ring_turn_is_required(keys):
    with refused(ValueError, "angle", "ring_turn"):
        made(**keys)
