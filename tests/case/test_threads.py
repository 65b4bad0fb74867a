"""Threads of a case: the angle from the turn of the ring, and the slack that depends on it."""

import math
import tomllib

import pytest

from fem.case.case import Case, CaseError
from tests.helpers.messages import assert_states, refused


def test_ring_turn_gives_the_angle_on_the_outer_radius(make_case):
    """tan(alpha) = R phi / L by definition; 60 / 6.5 rad is 45 degrees on this tube."""
    case = make_case(threads__0__ring_turn=f"{60 / 6.5!r} rad", threads__1__ring_turn="-0.5 turn")
    assert case.threads[0].angle == pytest.approx(math.pi / 4, rel=1e-15)
    assert case.threads[1].angle == pytest.approx(-math.atan(6.5 * math.pi / 60), rel=1e-15)
    # and back: the helix then winds through as much
    assert case.threads[1].helix(case.tube).ring_turn == pytest.approx(-math.pi, rel=1e-15)


def test_ring_turn_is_kept_when_the_tube_changes(make_case):
    case = make_case(threads__0__ring_turn="3 turn")
    longer = case.changed(tube__length="120 mm", tube__wall="2 mm")
    assert longer.threads[0].ring_turn == case.threads[0].ring_turn
    assert longer.threads[0].angle == pytest.approx(math.atan(7 * 6 * math.pi / 120), rel=1e-15)


def test_ring_turn_is_written_as_given_and_the_angle_is_not(make_case, tmp_path):
    case = make_case(threads__0__ring_turn="3 turn")
    case.save(tmp_path / "case.toml")
    written = tomllib.loads((tmp_path / "case.toml").read_text(encoding="utf-8"))["threads"][0]
    assert written["ring_turn"] == "1080 deg"
    assert "angle" not in written
    again = Case.load(tmp_path / "case.toml")
    assert again == case
    assert (again.hash, hash(again)) == (case.hash, hash(case))
    assert again.threads[0].angle == case.threads[0].angle


def test_too_many_turns_of_the_ring_are_refused(make_case):
    with refused(CaseError, 'threads: family "A"', "1010 turns", "at most 1000"):
        make_case(threads__0__ring_turn="1010 turn")


def test_cut_slack_follows_the_ring(make_case):
    case = make_case(threads__0__ring_turn="1 turn", threads__0__slack="cut at 0 deg")
    # a right triangle with legs L = 60 and R phi = 13 pi
    assert case.threads[0].slack_strain == pytest.approx(
        60 / math.hypot(60, 13 * math.pi) - 1, rel=1e-14
    )


def test_thread_that_would_tear_is_refused(make_case):
    with refused(CaseError, 'family "B": slack = "cut at 0 deg"', "70 deg", "2.92", "1.25"):
        make_case(threads__1__angle="70 deg", threads__1__slack="cut at 0 deg")
    # cos(36.87 deg) is 4/5
    stretched = make_case(threads__1__angle="36.8 deg", threads__1__slack="cut at 0 deg")
    assert stretched.threads[1].slack_strain == pytest.approx(-0.199, abs=1e-3)


def test_fault_of_the_tube_is_reported_even_with_a_ring_turn(put, ready, refuse):
    put(ready, "tube.wall", "-1 mm")
    put(ready, "threads.0.angle", None)
    put(ready, "threads.0.ring_turn", "1 turn")
    (line,) = refuse(ready)
    assert_states(line, 'tube.wall = "-1 mm": ', "greater than 0 mm")
