"""Limits as data: level, worst value, and the point at which a limit is first exceeded."""

import math
from dataclasses import replace

import pytest

from fem.results.checks import MIN_BORE, NEAR, Level, Limit, checks, state_checks
from fem.solving.single import solve


@pytest.fixture(scope="module")
def result(make_case):
    return solve(make_case(pressure__steps=2), "fast")


def only(found, limit, name=""):
    """Return the one check of a limit."""
    (one,) = (one for one in found if (one.limit, one.name) == (limit, name))
    return one


def with_last(run, **columns):
    """Return a run with other values in its last row."""
    return replace(run, rows=[*run.rows[:-1], run.rows[-1] | columns])


def test_a_run_far_from_its_limits_passes_all_checks(result):
    found = checks(result.runs[0], result.case)
    assert {one.level for one in found} <= {Level.OK, Level.UNKNOWN}
    assert only(found, Limit.BREAKING_LOAD, "A").level is Level.UNKNOWN
    stretch = only(found, Limit.TRUSTED_STRETCH)
    rows = result.runs[0].rows
    assert stretch.value == max(row["wall_stretch_max"] for row in rows)
    assert stretch.worst.row is rows[-1]


@pytest.mark.parametrize(
    ("load", "level"), [(10.0, Level.OK), (2.4, Level.NEAR), (1.5, Level.PASSED)]
)
def test_breaking_load(result, load, level):
    """The peak tension rises from 1 N to 2 N: 1.5 N is reached half way."""
    case = result.case.changed(threads__0__breaking_load=f"{load} N")
    run = with_last(result.runs[0], **{"tension_peak_N.A": 2.0})
    run.rows[-2]["tension_peak_N.A"] = 1.0
    one = only(checks(run, case), Limit.BREAKING_LOAD, "A")
    assert (one.level, one.value, one.allowed) == (level, 2.0, pytest.approx(load))
    assert (one.value > NEAR * load) == (level is not Level.OK)
    if level is Level.PASSED:
        assert one.passed_at.share == pytest.approx(0.5)
        assert (one.passed_at.before, one.passed_at.row) == (run.rows[-2], run.rows[-1])


def test_a_limit_exceeded_in_the_first_state_has_no_state_before(result):
    run = result.runs[0]
    rows = [row | {"wall_stretch_max": 3.0} for row in run.rows]
    case = result.case.changed(rubber__trusted_stretch=2.0)
    one = only(state_checks(rows, case), Limit.TRUSTED_STRETCH)
    assert one.level is Level.PASSED
    assert (one.passed_at.before, one.passed_at.row) == (None, rows[0])


def test_narrow_bore_unstable_states_and_gaps(result):
    run = with_last(result.runs[0], bore_stretch=MIN_BORE - 0.1, stable=False)
    run = replace(run, balance={**run.balance, "end_force_gap": 0.02, "energy_gap": math.nan})
    found = checks(run, result.case)
    assert only(found, Limit.NARROW_BORE).level is Level.PASSED
    unstable = only(found, Limit.UNSTABLE)
    assert (unstable.value, unstable.passed_at.row) == (1, run.rows[-1])
    levels = {one.name: one.level for one in found if one.limit is Limit.BALANCE}
    assert levels == {
        "energy_gap": Level.UNKNOWN,
        "end_force_gap": Level.PASSED,
        "end_torque_gap": Level.OK,
    }


def test_mesh_that_differs_from_the_case(result):
    mesh = {"sectors_of_the_tube": 1, "threads_meshed": {"A": 36}}
    case = result.case.changed(threads__0__count=7)
    found = checks(replace(result.runs[0], mesh=mesh), case)
    spread = only(found, Limit.THREADS_MESHED, "A")
    assert (spread.level, spread.value, spread.allowed) == (Level.PASSED, 36, 7)
    assert only(found, Limit.FULL_TUBE).level is Level.PASSED
    assert not [one for one in checks(result.runs[0], case) if one.limit is Limit.FULL_TUBE]
