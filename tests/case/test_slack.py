"""Slack rules: three forms of text, the strain of each, and the refusal of others."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fem.case.slack import FORMS, Slack
from tests.helpers.messages import refused


def strain(text, degrees):
    return Slack.parse(text).strain(math.radians(degrees))


@pytest.mark.parametrize(
    ("text", "expected"),
    [("taken up", 0.0), ("0 %", 0.0), ("3 %", 0.03), ("2.5%", 0.025), ("100 %", 1.0)],
)
@pytest.mark.parametrize("degrees", [-60, 0, 30])
def test_given_slack_is_the_same_at_any_angle(text, degrees, expected):
    assert strain(text, degrees) == expected


# Elementary (the lengths of two helices, L / cos of the angle), worked independently to
# eight digits.
@pytest.mark.parametrize(
    ("degrees", "expected"),
    [(55, 0.14715287), (-55, 0.14715287), (65, -0.15476348), (0, 1.0), (60, 0.0)],
)
def test_thread_cut_at_60_degrees_against_worked_values(degrees, expected):
    assert strain("cut at 60 deg", degrees) == pytest.approx(expected, abs=5e-9)  # last digit


def test_sign_of_the_cut_angle_does_not_matter():
    assert strain("cut at -60 deg", 40) == strain("cut at 60 deg", 40)


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("taken up", "taken up"),
        (" taken  up ", "taken up"),
        ("3 %", "3 %"),
        ("3.50%", "3.5 %"),
        ("-0 %", "0 %"),
        ("+1e-3 %", "0.001 %"),
        ("cut at 45 deg", "cut at 45 deg"),
        ("cut at 45.0°", "cut at 45 deg"),
        ("cut  at  -0.125 turn", "cut at -45 deg"),
    ],
)
def test_rule_is_written_in_one_form(text, written):
    assert str(Slack.parse(text)) == written


@given(st.floats(0, 100))
def test_any_percentage_is_read_as_written(percent):
    rule = Slack(percent=percent)
    assert Slack.parse(str(rule)) == rule


@given(st.floats(-1.57, 1.57))
def test_any_cut_angle_is_read_as_written(angle):
    rule = Slack(cut_angle=angle)
    assert Slack.parse(str(rule)) == rule


@pytest.mark.parametrize(
    "value",
    [
        *("", "loose", "Taken up", "3", "3 %%", "3 percent", "five %", "nan %", "3 mm", "cut at"),
        *("cut 45 deg", "3 % slack", "cut at45 deg", 3, 0.03, True, math.nan, None, [], {}, b"3 %"),
    ],
    ids=repr,
)
def test_any_other_form_is_refused_with_the_three_allowed(value):
    with pytest.raises(ValueError, match="write ") as refusal:
        Slack.parse(value)
    assert str(refusal.value) == FORMS


@pytest.mark.parametrize("text", ["-1 %", "100.1 %", "1e999 %", "-1e-300 %"])
def test_percentage_out_of_bounds_is_refused(text):
    with refused(ValueError, " 0 % ", " 100 %"):
        Slack.parse(text)


@pytest.mark.parametrize("text", ["cut at 90 deg", "cut at -90 deg", "cut at 1 turn"])
def test_cut_across_the_tube_is_refused(text):
    with refused(ValueError, " -90 deg", " 90 deg"):
        Slack.parse(text)


@pytest.mark.parametrize("text", ["cut at 45", "cut at 3 mm", "cut at 20 %", "cut at last"])
def test_cut_at_something_else_than_an_angle_is_refused(text):
    with refused(ValueError, "an angle", "deg"):
        Slack.parse(text)
