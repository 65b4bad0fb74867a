"""The figure of the curves: data, markers, legend, lettering."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib import rcParams
from PIL import Image

from fem.plots.curves import curves_figure, save_pictures
from fem.results.result import Result
from fem.solving.single import solve
from fem.wording.picture_text import DPI
from fem.wording.termination import explanation
from tests.helpers.pictures import check_lettering, cut, legend, titled, words

LONG_TITLE = "A title that goes on and on, with $5 in it, " * 10


def drawn(result):
    return curves_figure(result).figure()


@pytest.fixture(scope="module")
def bare(make_case):
    return solve(make_case(threads=[], pressure__end="6 kPa"), ["fe"], "1x1x6")


def test_curves_are_the_steps_of_both_models(result):
    figure = drawn(result)
    columns = ["twist_deg", "displacement_mm", "bulge_mm"]
    labels = ["twist [deg]", "displacement [mm]", "bulge [mm]"]
    for axes, column, label in zip(figure.axes, columns, labels, strict=True):
        assert axes.get_ylabel() == label
        assert axes.get_xlabel() == "pressure [kPa]"
        curves = [line for line in axes.lines if line.get_linestyle() != "None"]
        for run in result.runs:
            expected = [(row["pressure_kPa"], row[column]) for row in run.rows]
            assert any(np.array_equal(line.get_xydata(), expected) for line in curves), (
                f"{run.model}: {column}"
            )


@pytest.mark.parametrize("size", [1e-5, 4.7e-3, 3.1e-2, 6.3e3, 8.8e4, 2e6])
def test_tick_labels_of_any_size_fit(result, size):
    columns = ("twist_deg", "displacement_mm", "bulge_mm")
    rows = [
        row | {name: size * (step - 1) for name in columns}
        for step, row in enumerate(result.runs[0].rows)
    ]
    scaled = replace(result.runs[0], rows=rows)
    check_lettering(drawn(titled(Result(result.case, [scaled]), LONG_TITLE)))


def test_models_differ_by_more_than_colour(result):
    fe, fast = legend(drawn(result)).get_lines()
    assert fe.get_color() != fast.get_color()
    assert fe.get_linestyle() != fast.get_linestyle()
    assert fe.get_marker() != fast.get_marker()


def test_curves_file(result, tmp_path):
    before = dict(rcParams)
    save_pictures(Result(result.case, result.runs[1:]), tmp_path)
    assert dict(rcParams) == before
    with Image.open(tmp_path / "curves.png") as image:
        assert image.info["dpi"] == pytest.approx((DPI, DPI), rel=1e-3)
        assert image.size[0] == pytest.approx(curves_figure(result).width * DPI, abs=1)
        assert np.ptp(np.asarray(image.convert("L"))) > 200


def test_an_early_end_has_a_note_and_a_marker(result):
    stopped = Result(result.case, [cut(result.runs[0], 1), result.runs[1]])
    figure = drawn(stopped)
    assert f"FE model: {explanation(stopped.runs[0].termination)}" in words(figure)
    assert "FE model stops at 7.5 kPa" in words(figure)
    assert "fast model stops" not in words(figure)
    assert all(axes.get_xlim()[1] >= 15 for axes in figure.axes)  # the requested pressure


def test_unstable_steps_are_crosses(result):
    run = result.runs[0]
    rows = [dict(row, stable=row["step"] < 2) for row in run.rows]
    figure = drawn(Result(result.case, [replace(run, rows=rows)]))
    crosses = [line for line in figure.axes[0].lines if line.get_marker() == "x"]
    points = np.concatenate([line.get_xydata() for line in crosses])
    assert points.tolist() == [[15.0, rows[2]["twist_deg"]]]
    assert "unstable" in words(figure)
    assert "unstable" not in words(drawn(result))


def test_a_curve_of_round_off_is_drawn_flat(bare):
    assert drawn(bare).axes[0].get_ylim() == (-1, 1)


@pytest.mark.parametrize("title", ["Plain", " ", LONG_TITLE, "W" * 300])
@pytest.mark.parametrize("steps", [2, 0])
def test_lettering_of_curves(result, title, steps):
    runs = result.runs if steps else [cut(run, 0) for run in result.runs]
    check_lettering(drawn(titled(Result(result.case, runs), title)))
