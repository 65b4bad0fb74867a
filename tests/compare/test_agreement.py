"""Measures of agreement, compared with values computed by hand and with scikit-learn."""

import math
from dataclasses import replace

import numpy as np
import pandas
import pytest
from sklearn.metrics import max_error, mean_squared_error

from fem.compare.agreement import agreement, summary
from fem.compare.match import find_curves, match
from fem.quantities import table
from fem.quantities.column import Measure
from tests.helpers.compared import PRESSURES, fast_rows, make_bench, make_study_result

TWIST = Measure(table.twist)


def rows(measured, values, std=None, line=None):
    table = pandas.DataFrame({"line": line or range(2, 2 + len(measured)), "twist_deg": measured})
    table["twist_deg.model"] = values
    table["twist_deg.residual"] = table["twist_deg.model"] - table["twist_deg"]
    if std:
        within = table["twist_deg.residual"].abs() <= 1.96 * std
        table["twist_deg.within"] = within.astype("boolean").mask(table["twist_deg.model"].isna())
    return table


def test_values_computed_by_hand():
    """Residuals 1, -1, 3, -1: mean 1/2, mean square 12/4; about 2.5: 9/4+1/4+1/4+9/4 = 5."""
    found = agreement(rows([1.0, 2.0, 3.0, 4.0], [2.0, 1.0, 6.0, 3.0], std=1.0), TWIST)
    assert found == {
        "points": 4,
        "not_reached": 0,
        "bias": pytest.approx(0.5),
        "rms_error": pytest.approx(math.sqrt(3)),
        "greatest_error": pytest.approx(3.0),
        "greatest_at": 4,
        "r2": pytest.approx(1 - 12 / 5),
        "within_95": pytest.approx(3 / 4),
    }


def test_values_agree_with_scikit_learn():
    rng = np.random.default_rng(5)
    measured, values = rng.normal(size=(2, 50))
    found = agreement(rows(measured, values), TWIST)
    assert found["rms_error"] ** 2 == pytest.approx(mean_squared_error(measured, values))
    assert abs(found["greatest_error"]) == pytest.approx(max_error(measured, values))
    assert found["bias"] == pytest.approx(np.mean(values) - np.mean(measured))
    explained = 1 - np.sum((measured - values) ** 2) / np.sum((measured - measured.mean()) ** 2)
    assert found["r2"] == pytest.approx(explained)
    assert math.isnan(found["within_95"])


def test_measurements_that_are_not_reached_are_only_counted():
    found = agreement(rows([1.0, 50.0, 3.0], [2.0, np.nan, 4.0], std=1.0), TWIST)
    assert (found["points"], found["not_reached"]) == (2, 1)
    assert (found["bias"], found["rms_error"], found["within_95"]) == (1.0, 1.0, 1.0)
    assert agreement(rows([1.0], [np.nan]), TWIST) == {"points": 0, "not_reached": 1}


def test_one_point_has_no_r2():
    assert math.isnan(agreement(rows([1.0], [2.0]), TWIST)["r2"])
    assert math.isnan(agreement(rows([1.0, 1.0], [2.0, 1.0]), TWIST)["r2"])


def test_groups_are_pressures_and_text_settings(tmp_path):
    bench = make_bench(tmp_path, fast_rows(left=1.5))
    matched = match(bench, find_curves(bench, make_study_result(), ["fast"]), ["fast"])
    table = summary(matched, bench)
    twist = table[table.measure == "twist"].set_index(["group", "value"])
    by_pressure = twist.loc["pressure_kPa"]
    assert list(by_pressure.index) == [f"{pressure:.4g}" for pressure in PRESSURES]
    assert (by_pressure.points == 8).all()
    with_slack, cut = (twist.loc["slack", rule] for rule in ("taken up", "cut at 30 deg"))
    assert with_slack.rms_error > 20 * cut.rms_error
    everything = twist.loc["all", ""]
    squares = (with_slack.rms_error**2 + cut.rms_error**2) / 2  # equal numbers of rows
    assert everything.rms_error**2 == pytest.approx(squares)
    assert set(table.unit) == {"deg", "mm"}


def test_many_pressures_are_divided_into_ranges(tmp_path):
    bench = make_bench(tmp_path, fast_rows())
    matched = match(bench, find_curves(bench, make_study_result(), ["fast"]), ["fast"])
    matched["pressure_kPa"] += np.linspace(0, 0.4, len(matched))
    table = summary(matched, replace(bench, text_settings=[]))
    groups = table[(table.measure == "twist") & (table.group == "pressure_kPa")]
    assert len(groups) == 6
    assert groups.points.sum() == len(matched)
    assert all(" to " in value for value in groups.value)
