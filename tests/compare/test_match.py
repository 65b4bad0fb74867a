"""Measurements on curves: at a step, between two, beyond the end; found in the study or solved."""

import numpy as np
import pandas
import pytest
from scipy.stats import norm

from fem.compare import match as module
from fem.compare.comparison import compare_with_bench
from fem.compare.curve import Curve
from fem.compare.match import find_curves, match, unreached
from fem.core.errors import InputError
from fem.quantities.column import BAND
from fem.solving.single import solve
from fem.study import worker
from fem.wording.comparison import not_reached
from tests.helpers.compared import (
    PRESSURES,
    fast_rows,
    make_bench,
    make_study,
    make_study_result,
    setting,
    solve_study,
)
from tests.helpers.messages import assert_states, refused


def curve(pressures, values, **columns):
    rows = {"step": range(len(pressures)), "requested": True, "pressure_kPa": pressures}
    return Curve.of(pandas.DataFrame({**rows, "twist_deg": values, **columns}))


# ---------------------------------------------------------------------------------------- a curve


def test_at_a_step_the_value_is_that_of_the_step():
    steps = curve([0.0, 1.0, 2.0, 3.0], [0.0, 0.1, 7.3, -2.0])
    assert steps.at(np.array([0.0, 1.0, 2.0, 3.0]), "twist_deg").tolist() == [0.0, 0.1, 7.3, -2.0]
    assert [steps.place(p) for p in (0.0, 2.0 + 1e-8, 3.0)] == ["step"] * 3
    assert steps.at(np.array([3.0 + 1e-8]), "twist_deg") == [-2.0]


def test_between_steps_the_value_is_interpolated():
    """A straight line is exact; the error of a parabola decreases with the square of the step."""
    inside = np.linspace(0.31, 2.77, 40)
    line = curve([0.0, 1.0, 2.0, 3.0], [0.0, 2.0, 4.0, 6.0])
    assert line.at(inside, "twist_deg") == pytest.approx(2 * inside, rel=1e-12)
    assert line.place(0.31) == "between"
    errors = []
    for steps in (10, 20):
        pressures = np.linspace(0, 3, steps + 1)
        found = curve(pressures, pressures**2).at(inside, "twist_deg")
        errors.append(np.abs(found - inside**2).max())
    assert errors[1] < errors[0] / 3
    assert errors[0] < 0.03


def test_a_kink_is_not_overshot():
    """A curve has a kink where slack threads become taut; it must not oscillate there."""
    kinked = curve([0.0, 1.0, 2.0, 3.0, 4.0], [0.0, 0.0, 0.0, 5.0, 10.0])
    found = kinked.at(np.linspace(0.01, 1.99, 50), "twist_deg")
    assert np.abs(found).max() == 0


def test_beyond_the_ends_there_is_no_value():
    steps = curve([0.0, 1.0, 2.0], [0.0, 1.0, 2.0])
    assert np.isnan(steps.at(np.array([-0.5, 2.1]), "twist_deg")).all()
    assert [steps.place(p) for p in (-0.5, 2.1)] == ["beyond", "beyond"]
    assert steps.range() == [0.0, 2.0]
    assert_states(reason_at(steps, 2.1), "ends", "2 kPa", "last step")
    assert_states(reason_at(steps, -0.5), "begins", "0 kPa")


def reason_at(found, pressure):
    """Return why a curve has no value at a pressure, as text."""
    end = {"curve_kPa": found.range(), "termination": found.termination.data()}
    return not_reached({"pressure_kPa": pressure, **end})


def test_only_the_part_with_increasing_pressure_is_used():
    """Under volume control the pressure decreases beyond its peak."""
    steps = curve([0.0, 1.0, 2.0, 1.5, 0.5], [0.0, 1.0, 2.0, 50.0, 60.0])
    assert steps.at(np.array([1.5]), "twist_deg") == pytest.approx([1.5])
    assert steps.place(2.5) == "beyond"


def test_states_that_were_not_requested_are_not_steps(make_case):
    (run,) = solve(make_case(threads=[], pressure={"end": "20 kPa", "steps": 5}), "fast").runs
    found = Curve.of(pandas.DataFrame(run.rows), run.termination)
    assert found.pressures.tolist() == [0.0, 4.0, 8.0]
    assert found.termination.kind == "limit_point"
    assert_states(reason_at(found, 11.0), "balloon limit", "11.8 kPa")


def test_a_curve_with_rest_only():
    steps = curve([0.0], [0.0])
    assert steps.at(np.array([0.0, 1.0]), "twist_deg")[0] == 0
    assert np.isnan(steps.at(np.array([0.0, 1.0]), "twist_deg")[1])
    assert (steps.place(0.0), steps.place(1.0)) == ("step", "beyond")


# -------------------------------------------------------------------------------------- the match


def test_curves_of_the_study_are_not_solved_again(tmp_path, monkeypatch):
    def refuse(*_, **__):
        raise AssertionError("no curve is missing")

    monkeypatch.setattr(module, "solve_task", refuse)
    bench = make_bench(tmp_path, fast_rows())
    rows = match(bench, find_curves(bench, make_study_result(), ["fast"]), ["fast"])
    assert set(rows.place) == {"step", "between"}
    assert (rows.place == "step").sum() == 7 * len(bench.cases), "only 7.5 kPa is between"
    at_step = rows[rows.place == "step"]
    assert at_step["twist_deg.residual"].abs().max() < 1e-6
    assert at_step["displacement_mm.residual"].abs().max() < 1e-8
    between = rows[rows.place == "between"]
    assert between["twist_deg.residual"].abs().max() < 0.5
    assert between["displacement_mm.residual"].abs().max() < 0.05
    assert rows["twist_deg.within"].all()


def test_the_order_of_the_rows_has_no_effect(tmp_path):
    rows = fast_rows()
    bench, other = make_bench(tmp_path, rows), make_bench(tmp_path, rows[::-1])
    curves = find_curves(bench, make_study_result(), ["fast"])
    one, two = match(bench, curves, ["fast"]), match(other, curves, ["fast"])
    columns = ["case", "pressure_kPa", "twist_deg.model"]
    pandas.testing.assert_frame_equal(one[columns], two[columns][::-1].reset_index(drop=True))


def test_only_missing_curves_are_solved_on_the_mesh_of_the_study(tmp_path, monkeypatch):
    solves = []

    def record(case, model, resolution, **options):
        solves.append((case.key, model, resolution))
        return solve(case, model, resolution, **options)

    monkeypatch.setattr(worker, "solve", record)
    missing = [(11, -7, "taken up", 5.0, 0.0, 0.0), (11, -7, "taken up", 6.0, 0.0, 0.0)]
    bench = make_bench(tmp_path, [*fast_rows()[:3], *missing])
    reports = []
    curves = find_curves(
        bench, make_study_result(), ["fast"], lambda *report: reports.append(report)
    )
    case = make_study().case_of(setting(11, -7, "taken up"))
    assert solves == [(case.key, "fast", "1x1x6")]
    assert reports == [("fast", 0, 1), ("fast", 1, 1)]
    assert [key for (key, _), found in curves.items() if found.solved] == [case.key]
    rows = match(bench, curves, ["fast"])
    steps = solve(case, "fast").runs[0].rows
    assert rows["twist_deg.model"].iloc[-1] == steps[6]["twist_deg"]


def test_a_model_that_the_study_lacks_is_solved(tmp_path):
    bench = make_bench(tmp_path, fast_rows()[:2])
    curves = find_curves(bench, make_study_result(), ["fe", "fast"])
    assert {model: found.solved for (_, model), found in curves.items()} == {
        "fe": True,
        "fast": False,
    }
    rows = match(bench, curves, ["fe", "fast"])
    assert list(rows.model) == ["fe", "fe", "fast", "fast"]
    assert rows["twist_deg.model"].nunique() == 4


def test_an_unknown_model_is_refused(tmp_path):
    bench, study_result = make_bench(tmp_path, fast_rows()[:2]), make_study_result()
    with refused(InputError, "fsat", "fe, fast"):
        compare_with_bench(study_result, bench, ["fsat"])
    assert compare_with_bench(study_result, bench, "fast").models == ("fast",)


def test_rows_beyond_the_end_have_a_reason(tmp_path):
    """With threads cut at 45 deg and set to 0 deg, the tube balloons before they become taut."""
    study = make_study(
        set={"pressure.end": "15 kPa", "pressure.steps": 5},
        vary=[{"field": "threads.A.angle", "same": ["threads.B.angle"], "values": ["0 deg"]}],
    )
    file = tmp_path / "bench.csv"
    file.write_text(
        "angle [deg],slack,pressure [kPa],twist [deg]\n"
        "0,cut at 45 deg,9,0.5\n0,cut at 45 deg,14,0.5\n0,taken up,15,0.5\n0,taken up,16,0.5\n",
        encoding="utf-8",
    )
    bench = matching_bench(file, study)
    curves = find_curves(bench, solve_study(study), ["fast"])
    rows = match(bench, curves, ["fast"])
    assert list(rows.place) == ["step", "beyond", "step", "beyond"]
    assert rows["twist_deg.model"].isna().tolist() == [False, True, False, True]
    first, second = unreached(rows, curves)
    assert (first["line"], first["pressure_kPa"], second["line"]) == (3, 14.0, 5)
    assert first["termination"]["kind"] == "limit_point"
    assert "limit" in not_reached(first)
    assert (second["termination"], second["curve_kPa"]) == ({"kind": "reached"}, [0.0, 15.0])
    assert_states(not_reached(second), "ends", "15 kPa", "last step")


def matching_bench(file, study):
    from fem.measurements.bench import read_bench

    return read_bench(file, study.base)


def test_the_reason_of_a_curve_is_that_in_the_study(tmp_path):
    study = make_study(
        set={"pressure.end": "15 kPa", "pressure.steps": 5, "threads.B.slack": "cut at 45 deg"},
        vary=[
            {"field": "threads.A.angle", "same": ["threads.B.angle"], "values": ["0 deg"]},
            {"field": "threads.A.slack", "values": ["cut at 45 deg"]},
        ],
    )
    study_result = solve_study(study)
    file = tmp_path / "bench.csv"
    head = "angle [deg],slack.A,pressure [kPa],twist [deg]\n"
    file.write_text(head + "0,cut at 45 deg,14,0.5\n", encoding="utf-8")
    bench = matching_bench(file, study)
    curves = find_curves(bench, study_result, ["fast"])
    assert not any(found.solved for found in curves.values())
    (entry,) = unreached(match(bench, curves, ["fast"]), curves)
    assert entry["termination"] == study_result.run_record["not_reached"][0]["termination"]


def test_a_curve_without_rest_has_a_reason(tmp_path, monkeypatch):
    def fail(*_, **__):
        raise ArithmeticError("no rest")

    monkeypatch.setattr(worker, "solve", fail)
    bench = make_bench(tmp_path, [(11, -7, "taken up", 5.0, 0.0, 0.0)])
    curves = find_curves(bench, make_study_result(), ["fast"])
    rows = match(bench, curves, ["fast"])
    (entry,) = unreached(rows, curves)
    assert entry["termination"]["kind"] == "no_rest" and entry["curve_kPa"] is None
    assert_states(not_reached(entry), "at rest", "no rest")
    assert rows["twist_deg.within"].isna().all()


def test_an_interruption_is_raised(tmp_path, monkeypatch):
    def interrupted(case, model, resolution, mesh_cache):
        def interrupt(*_):
            raise KeyboardInterrupt

        return solve(case, model, resolution, report=interrupt)

    monkeypatch.setattr(worker, "solve", interrupted)
    bench = make_bench(tmp_path, [(11, -7, "taken up", 5.0, 0.0, 0.0)])
    with pytest.raises(KeyboardInterrupt):
        find_curves(bench, make_study_result(), ["fast"])


def test_the_band_is_that_of_the_measurement(tmp_path):
    """95 % of normal noise is within 1.96 standard deviations (any table of the normal law)."""
    assert pytest.approx(norm.ppf(0.975), rel=1e-12) == BAND
    rows = [
        (*row[:4], row[4] + error, row[5])
        for row, error in zip(fast_rows(), (1.9, 2.0), strict=False)
    ]
    bench = make_bench(tmp_path, rows)
    found = match(bench, find_curves(bench, make_study_result(), ["fast"]), ["fast"])
    assert found["twist_deg.within"].tolist() == [True, False]
    assert len(PRESSURES) * 8 == len(fast_rows())
