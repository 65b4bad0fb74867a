"""Columns of the fields of a case: the unit in the name, the number in the cell."""

import math

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fem.case.case import Case
from fem.quantities.case_fields import cells

FIELDS = ("threads.A.angle", "tube.length", "rubber.shear_modulus")


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(angle=st.floats(-1.5, 1.5), length=st.floats(50, 500), modulus=st.floats(1e-3, 10))
def test_columns_do_not_depend_on_the_numbers(make_case, angle, length, modulus):
    case = make_case(
        threads__0__angle=f"{angle!r} rad",
        tube__length=f"{length!r} mm",
        rubber__shear_modulus=f"{modulus!r} MPa",
    )
    assert (case.threads[0].angle, case.tube.length) == (angle, length)
    found = cells(case, FIELDS)
    expected = [math.degrees(angle), length, 1e3 * modulus]
    assert list(found) == ["angle_deg.A", "tube_length_mm", "rubber_shear_modulus_kPa"]
    assert list(found.values()) == pytest.approx(expected, rel=1e-15)
    assert Case.parse(case.data) == case
