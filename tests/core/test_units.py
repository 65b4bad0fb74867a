"""Quantities with units: reading, writing, and messages for invalid text."""

import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fem.core.units import (
    ANGLE,
    FORCE,
    LENGTH,
    MASS,
    SPRING_RATE,
    STRESS,
    TEMPERATURE,
    TORQUE,
    TWIST_RATE,
    VOLUME,
    read,
    registry,
    show,
)
from tests.helpers.messages import assert_states, refused

UNITS = [
    *(LENGTH, STRESS, FORCE, ANGLE, TORQUE, SPRING_RATE, TWIST_RATE, VOLUME, MASS, TEMPERATURE)
]


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [  # by definition of the SI prefixes, the bar and the degree
        ("5 mm", LENGTH, 5.0),
        ("0.5 cm", LENGTH, 5.0),
        ("0.005 m", LENGTH, 5.0),
        ("5mm", LENGTH, 5.0),
        (" 5 mm ", LENGTH, 5.0),
        ("-2.5e1 mm", LENGTH, -25.0),
        (".5 mm", LENGTH, 0.5),
        ("30 kPa", STRESS, 0.03),
        ("1 bar", STRESS, 0.1),
        ("2 N/mm^2", STRESS, 2.0),
        ("2 N/mm²", STRESS, 2.0),
        ("0.2 kN", FORCE, 200.0),
        ("-30 deg", ANGLE, -math.pi / 6),
        ("-30 °", ANGLE, -math.pi / 6),
        ("0.5 rad", ANGLE, 0.5),
        ("3 turn", ANGLE, 6 * math.pi),
        ("3 N mm", TORQUE, 3.0),
        ("3 N*mm", TORQUE, 3.0),
        ("3 N·mm", TORQUE, 3.0),
        ("-3 N m", TORQUE, -3000.0),
        ("2 mN m", TORQUE, 2.0),
        ("3 N/mm", SPRING_RATE, 3.0),
        ("3 kN/m", SPRING_RATE, 3.0),
        ("3 N mm/rad", TWIST_RATE, 3.0),
        ("3 N*mm/rad", TWIST_RATE, 3.0),
        ("1 N m/deg", TWIST_RATE, 180e3 / math.pi),
        ("1 N m/turn", TWIST_RATE, 500 / math.pi),
        ("2 mL", VOLUME, 2000.0),
        ("2 cm^3", VOLUME, 2000.0),
        ("2 mm³", VOLUME, 2.0),
        ("1 L", VOLUME, 1e6),
        ("1 mg", MASS, 1e-9),
        ("1 g", MASS, 1e-6),
        ("1 kg", MASS, 1e-3),
        ("293.15 K", TEMPERATURE, 293.15),
        ("20 degC", TEMPERATURE, 293.15),
        ("20 °C", TEMPERATURE, 293.15),
    ],
)
def test_read_known_quantities(text, unit, expected):
    # a unit's factors and their products are rounded once each
    assert read(text, unit) == pytest.approx(expected, rel=1e-15, abs=0)


def test_read_takes_a_pint_quantity():
    assert read(registry().Quantity(3, "cm"), LENGTH) == 30.0


@pytest.mark.parametrize(
    ("number", "unit", "text"),
    [
        (5.0, LENGTH, "5 mm"),
        (0.06, STRESS, "60 kPa"),
        (0.0, FORCE, "0 N"),
        (-math.pi / 6, ANGLE, "-30 deg"),
        (1 / 3, LENGTH, "0.3333333333333333 mm"),
        (-3.0, TORQUE, "-3 N mm"),
        (3.0, SPRING_RATE, "3 N/mm"),
        (3.0, TWIST_RATE, "3 N mm/rad"),
        (2000.0, VOLUME, "2 mL"),
        (1.5e-9, MASS, "1.5 mg"),
        (293.15, TEMPERATURE, "293.15 K"),
    ],
)
def test_show_writes_the_shown_unit_with_the_fewest_digits(number, unit, text):
    assert show(number, unit) == text


# Quantities are never larger; the factor 1000 from MPa to kPa overflows near the limit of floats.
FINITE = st.floats(min_value=-1e300, max_value=1e300)


@given(number=FINITE, unit=st.sampled_from(UNITS))
def test_shown_text_is_read_as_the_same_float(number, unit):
    text = show(number, unit)
    assert text.partition(" ")[2] == unit.shown
    assert read(text, unit) == number


@given(angle=st.floats(-1.6, 1.6))
def test_every_angle_has_a_text_in_degrees(angle):
    """With 17 digits read as a float first, 133 of 3,000 random angles had none."""
    text = show(angle, ANGLE)
    assert text.endswith(" deg")
    assert read(text, ANGLE) == angle


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.kind)
@pytest.mark.parametrize("value", [5, 5.0, 0, -1.5, True, math.nan, math.inf])
def test_bare_number_is_refused(value, unit):
    with refused(ValueError, "unit is missing", unit.kind, f'"3 {unit.shown}"'):
        read(value, unit)


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.kind)
@pytest.mark.parametrize("text", ["5", "-1e-3", " 7 ", "0"])
def test_text_without_unit_is_refused(text, unit):
    with refused(ValueError, "unit is missing", unit.kind, f'"3 {unit.shown}"'):
        read(text, unit)


WRONG = {
    LENGTH: "3 kPa",
    STRESS: "3 N",
    FORCE: "3 mm",
    ANGLE: "3 mm",
    TORQUE: "3 N mm/rad",
    SPRING_RATE: "3 N",
    TWIST_RATE: "3 N mm",
    VOLUME: "3 mm^2",
    MASS: "3 N",
    TEMPERATURE: "3 °",
}


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.kind)
def test_wrong_dimension_is_refused(unit):
    with refused(ValueError, f"not {unit.kind}", f'"3 {unit.shown}"'):
        read(WRONG[unit], unit)


@pytest.mark.parametrize("text", ["20 %", "20 percent", "200 ppm", "1 count", "1 mm/mm"])
def test_ratio_is_not_an_angle(text):
    with refused(ValueError, "an angle", '"3 deg"'):
        read(text, ANGLE)


@pytest.mark.parametrize("text", ["nan mm", "inf mm", "-inf mm", "1e400 mm"])
def test_number_that_is_not_finite_is_refused(text):
    with refused(ValueError, "a length", '"3 mm"'):
        read(text, LENGTH)


@pytest.mark.parametrize(
    "value",
    [
        *("", " ", "mm", "five mm", "5 MM", "5 mm mm", "0x10 mm", "1/0 mm", "1 degC", '5 "mm"'),
        *("(1 mm, 2 mm)", "1 mm; 2 mm", "[1] mm", "None mm", "__import__('os')", "\0", "5 \0 mm"),
        *(None, [5], ["5 mm"], {"mm": 5}, b"5 mm", 5j, pytest.param(object(), id="object")),
    ],
    ids=repr,
)
def test_other_values_are_refused(value):
    with refused(ValueError, "a length", '"3 mm"'):
        read(value, LENGTH)


@pytest.mark.parametrize("text", ["1,5 mm", "1 5 mm", "3 4mm"])
def test_number_in_two_pieces_is_not_guessed(text):
    with refused(ValueError, "a length", '"3 mm"'):
        read(text, LENGTH)


# The powers here are small; pint would evaluate a large one for hours.
@pytest.mark.parametrize("text", ["6 mm - 5 mm", "2 * 3 mm", "2 ** 3 mm", "1 mm * 2 ** 3"])
def test_sum_is_not_evaluated(text):
    with refused(ValueError, "a length", '"3 mm"'):
        read(text, LENGTH)


@pytest.mark.parametrize(
    "text", ["10 ** 999999999 mm", "1 mm * 10 ** 999999999", "1 mm * 9**9**9**9"]
)
def test_large_power_is_refused_at_once(text):
    """It is read in a separate process, which can be ended; the evaluation of a power cannot."""
    script = f"from fem.core.units import LENGTH, read\nread({text!r}, LENGTH)"
    # Python starts within a second; the rest is for a busy machine
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, timeout=15
    )
    assert "ValueError: " in done.stderr
    assert_states(done.stderr, "a length", '"3 mm"')


# without the sign of a power, see above
@given(
    text=st.text("0123456789.,eE+-/() mkPaNdegrau_°CLK\n", max_size=12), unit=st.sampled_from(UNITS)
)
def test_any_text_is_read_or_refused_without_another_error(text, unit):
    try:
        number = read(text, unit)
    except ValueError as refusal:
        number = 0.0
        assert_states(str(refusal), unit.kind, f'"3 {unit.shown}"')
    assert math.isfinite(number)
