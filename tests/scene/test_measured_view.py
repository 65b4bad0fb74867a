"""Measurements beside the models: values at the steps, none beyond the measured range."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from fem.core.errors import InputError
from fem.scene.measured_view import with_bench
from fem.scene.result_view import result_views
from fem.solving.single import solve
from tests.helpers.messages import refused

HEAD = "angle.A [deg],pressure [kPa],twist [deg],displacement [mm]"


@pytest.fixture(scope="module")
def shown(make_case):
    """Return the fast model of the ready case in steps of 3 kPa."""
    return result_views(solve(make_case(), "fast"))


@pytest.fixture
def bench(tmp_path):
    """Return a function that writes a bench file."""

    def write(*lines, head=HEAD):
        file = tmp_path / "wrist.bench.csv"
        file.write_text("\n".join(["# Invented.", head, *lines]) + "\n", encoding="utf-8")
        return file

    return write


def column(view, name):
    return [row[name] for row in view.rows]


def test_a_measured_path_has_a_row_for_each_step_of_the_model(shown, bench):
    file = bench("20,0,0,0", "20,6,5,-1", "20,12,20,-3", "20,15,21,-5", "11,6,0,0")
    model, measured = with_bench(shown, file)
    assert model is shown[0]
    assert (measured.model, measured.name, measured.case) == ("bench", model.name, model.case)
    assert measured.shapes == []
    assert measured.note == "4 measurements in wrist.bench.csv; Invented."
    assert column(measured, "pressure_kPa") == column(model, "pressure_kPa") == [0, 3, 6, 9, 12, 15]
    assert measured.labels == model.labels
    between = PchipInterpolator([0, 6, 12, 15], [0, 5, 20, 21])  # independent: scipy
    assert column(measured, "twist_deg") == pytest.approx(between([0, 3, 6, 9, 12, 15]))
    assert all(math.isnan(value) for value in column(measured, "bulge_mm"))


def test_there_are_no_values_beyond_the_measurements(shown, bench):
    _, measured = with_bench(shown, bench("20,6,5,-1", "20,12,20,-3"))
    known = np.isfinite(column(measured, "twist_deg"))
    assert known.tolist() == [False, False, True, True, True, False]


def test_a_single_measurement_has_a_value_only_at_its_step(shown, bench):
    _, measured = with_bench(shown, bench("20,6,5,-1"))
    assert np.isfinite(column(measured, "twist_deg")).tolist() == [False] * 2 + [True] + [False] * 3
    assert "1 measurement in" in measured.note


def test_repeated_measurements_have_a_mean_and_a_deviation(shown, bench):
    lines = ["20,3,1,0,a", "20,3,3,0,b", "20,6,5,-1,a", "20,6,6,-1,b"]
    _, measured = with_bench(shown, bench(*lines, head=HEAD + ",repeat"))
    row = measured.rows[1]
    assert row["twist_deg"] == 2
    assert row["twist_deg.std"] == pytest.approx(np.std([1, 3], ddof=1))


def test_given_deviations_of_repeats_have_a_quadratic_mean(shown, bench):
    lines = ["20,3,1,0,a,3", "20,3,3,0,b,4"]
    _, measured = with_bench(shown, bench(*lines, head=HEAD + ",repeat,twist.std [deg]"))
    assert measured.rows[1]["twist_deg.std"] == pytest.approx(math.sqrt((3**2 + 4**2) / 2))
    assert measured.rows[1]["displacement_mm.std"] == 0  # that of the repeats


def test_there_are_no_values_while_the_free_end_is_moved(make_case, bench):
    case = make_case(move={"displacement": "-6 mm", "steps": 2}, pressure__steps=2)
    shown = result_views(solve(case, "fast"))
    _, measured = with_bench(shown, bench("20,7.5,5,-1", "20,15,20,-3"))
    assert len(measured.rows) == len(shown[0].rows) == 5
    assert np.isfinite(column(measured, "twist_deg")).tolist() == [False, True, True, False, False]


def test_measurements_have_no_limit_point(make_case, bench):
    """The model of the bare tube has one; the measured row there is only labelled by pressure."""
    case = make_case(threads=[], pressure={"end": "40 kPa", "steps": 4})
    shown = result_views(solve(case, "fast"))
    file = bench("0,0", "8,1", "14,3", head="pressure [kPa],displacement [mm]")
    model, measured = with_bench(shown, file)
    top = model.rows[-1]["pressure_kPa"]
    assert model.labels[-1].startswith("balloon limit, ")
    assert measured.labels == [*model.labels[:-1], f"{top:.3g} kPa"]
    assert "limit" not in measured.rows[-1]
    between = PchipInterpolator([0, 8, 14], [0, 1, 3])
    assert measured.rows[-1]["displacement_mm"] == pytest.approx(between(top))


def test_measurements_follow_the_models_of_their_case(shown, make_case, bench):
    other = result_views(solve(make_case(threads__0__angle="11 deg"), "fast"), "other")
    fe = replace(shown[0], model="fe")
    found = with_bench([fe, *shown, *other], bench("20,6,5,-1", "11,6,7,-1"))
    assert [view.model for view in found] == ["fe", "fast", "bench", "fast", "bench"]
    assert [view.rows[2]["twist_deg"] for view in found if view.model == "bench"] == [5, 7]


@pytest.mark.parametrize(
    ("lines", "fact"),
    [
        (["11,6,5,-1"], "no measurement"),
        (["20,6,x,-1"], 'line 3: twist [deg] = "x": '),
        ([], "header"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_with_the_reason(shown, bench, lines, fact):
    file = bench(*lines)
    with refused(InputError, str(file), fact):
        with_bench(shown, file)
