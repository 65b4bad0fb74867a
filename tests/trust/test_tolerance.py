"""The text of a tolerance: names, units, percentages, and what is refused."""

import pytest

from fem.core.errors import InputError
from fem.quantities.column import named
from fem.trust import parse
from tests.helpers.messages import refused
from tests.helpers.trust_toys import tabulated, two_angles


@pytest.fixture(scope="module")
def study_result():
    return tabulated(
        two_angles(2),
        lambda own, pressure: {
            "twist_deg": 2.0 * pressure,
            "displacement_mm": -0.1 * pressure,
            "bore_stretch": 1.0,
            "bulge_mm": 0.0,
            "ring_torque_Nmm.A": -pressure,
        },
        lambda own, pressure: {"ring_torque_Nmm.A": -pressure},
    )


@pytest.mark.parametrize(
    ("text", "column", "limit"),
    [
        ("twist 3 deg", "twist_deg", 3.0),
        ("twist 0.1 rad", "twist_deg", 5.729577951308232),  # 18 / pi
        ("twist .5°", "twist_deg", 0.5),
        ("displacement 500 um", "displacement_mm", 0.5),
        ("displacement 5 %", "displacement_mm", 0.075),  # of 1.5 mm
        ("twist 5%", "twist_deg", 1.5),  # of 30 deg
        ("ring_torque.A 10 %", "ring_torque_Nmm.A", 3.0),  # of the FE model's 30, not the fast 15
        ("ring_torque.A 0.002 N m", "ring_torque_Nmm.A", 2.0),
        ("bore_stretch 0.02", "bore_stretch", 0.02),
    ],
)
def test_a_tolerance_is_read_in_the_unit_of_its_column(study_result, text, column, limit):
    (tolerance,) = parse(text, study_result)
    assert tolerance.quantity.column == column
    assert tolerance.limit == pytest.approx(limit, rel=1e-12)


def test_several_tolerances_keep_their_order_and_have_a_text(study_result):
    found = parse(" displacement 0.5 mm ,twist 3 deg", study_result)
    assert [str(tolerance) for tolerance in found] == ["displacement 0.5 mm", "twist 3 deg"]


@pytest.mark.parametrize(
    ("text", "facts"),
    [
        ("", ["name, number and unit"]),
        ("twist", ['"twist"', "number"]),
        ("twist three deg", ["twist three deg", "number"]),
        ("turn 3 deg", ['"turn"', "twist, displacement, bore_stretch, bulge, ring_torque.A"]),
        ("angle.A 3 deg", ['"angle.A"']),
        ("pressure 3 kPa", ['"pressure"']),
        ("twist 3", ["deg", "%"]),
        ("twist 3 mm", ["deg", "%"]),
        ("displacement 3 deg", [" mm"]),
        ("bore_stretch 3 mm", ["without unit"]),
        ("twist -3 deg", ["greater than 0"]),
        ("twist 0 deg", ["greater than 0"]),
        ("twist 3 deg, twist 5 %", ['"twist"', "once"]),
        ("bulge 5 %", ["bulge", "zero", " mm"]),
    ],
)
def test_an_invalid_tolerance_is_refused(study_result, text, facts):
    with refused(InputError, "tolerance", *facts):
        parse(text, study_result)


def test_columns_are_named_without_their_unit():
    names = {"ring_torque_Nmm.A": ("ring_torque.A", "ring torque A [N mm]")}
    names |= {
        "taut_fraction.B": ("taut_fraction.B", "taut fraction B"),
        "angle_deg.A": ("angle.A", "angle A [deg]"),
    }
    names |= {"end_axial_spring_N_per_mm": ("end_axial_spring", "end axial spring [N/mm]")}
    assert {column: (named(column).name, named(column).axis_label) for column in names} == names
