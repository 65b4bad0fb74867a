"""Plot methods return the figures that the commands write, and leave pyplot alone."""

import subprocess
import sys
from dataclasses import replace

import matplotlib
import numpy as np
import pandas
import pytest
from matplotlib.figure import Figure

from fem.compare.comparison import compare_with_bench
from fem.core.errors import InputError
from fem.measurements.bench import read_bench
from fem.plots.study.figures import figures
from fem.results.result import Result
from fem.trust.analysis import Trust
from fem.trust.corrected import CorrectedModel
from tests.helpers.compared import fast_rows, make_study_result, write_bench
from tests.helpers.compared import make_study as make_compared_study
from tests.helpers.messages import refused
from tests.helpers.trust_toys import tabulated, two_angles


@pytest.fixture(autouse=True)
def _pyplot_is_left_alone():
    before = dict(matplotlib.rcParams)
    yield
    assert dict(matplotlib.rcParams) == before
    assert not matplotlib._pylab_helpers.Gcf.figs


@pytest.fixture(scope="module")
def study_result():
    def fast(at, pressure):
        twist = pressure * (at["angle_deg.A"] + 2 * at["angle_deg.B"]) / 15
        motion = {"twist_deg": twist, "displacement_mm": -0.1 * pressure, "bulge_mm": pressure / 10}
        walls = {"bore_stretch": 1.1, "wall_stretch_max": 1 + pressure / 50}
        return motion | walls | {f"tension_N.{name}": abs(twist) for name in "AB"}

    def difference(at, pressure):
        return {"twist_deg": -0.01 * pressure * at["angle_deg.A"]}

    return tabulated(two_angles(6), fast, difference)


def labels(figure):
    return [axes.get_ylabel() for axes in figure.axes]


def images(figure):
    figure.canvas.draw()
    return np.asarray(figure.canvas.buffer_rgba())


# ---------------------------------------------------------------------------------------- results


def test_a_result_draws_its_motion(result):
    figure = result.plot()
    assert isinstance(figure, Figure)
    assert labels(figure) == ["twist [deg]", "displacement [mm]", "bulge [mm]"]


def test_a_result_draws_quantities_of_all_families_or_of_one(result):
    tensions = ["mean tension A [N]", "mean tension B [N]"]
    assert labels(result.plot("tension")) == tensions
    assert labels(result.plot(["twist", "tension.B"])) == ["twist [deg]", tensions[1]]
    four = result.plot(["twist", "bulge", "tension"])
    assert labels(four) == ["twist [deg]", "bulge [mm]", *tensions]


def test_a_result_draws_one_model(result):
    figure = result.plot("twist", models="fast")
    fast = next(run for run in result.runs if run.model == "fast")
    (curve,) = (
        line
        for line in figure.axes[0].lines
        if len(line.get_xdata()) == len(fast.rows) and line.get_linestyle() != "None"
    )
    assert [row["twist_deg"] for row in fast.rows] == curve.get_ydata().tolist()


def test_a_result_without_such_a_quantity_or_model_names_those_it_has(result):
    with refused(InputError, '"twisst"', "twist", "tension.A"):
        result.plot("twisst")
    with refused(InputError, '"FE"', "fe, fast"):
        result.plot(models="FE")
    with refused(InputError, '"model"'):
        result.plot("model")


# ---------------------------------------------------------------------------------------- studies


def test_a_study_maps_a_quantity_as_its_picture_does(study_result):
    pictures = dict(figures(study_result))
    for name in ("twist", "tension"):
        assert np.array_equal(images(study_result.map(name)), images(pictures[name].figure()))
    assert np.array_equal(images(study_result.plot_reach()), images(pictures["reach"].figure()))


def test_a_study_maps_at_a_pressure(study_result):
    lower = images(study_result.map("twist", at="9 kPa"))
    assert np.array_equal(lower, images(study_result.map("twist", at="0.009 MPa")))
    assert not np.array_equal(lower, images(study_result.map("twist")))
    for at in ("10 kPa", "9", 9, "9 mm"):
        with refused(InputError, f'"{at}"', "0, 3, 6, 9, 12, 15 kPa"):
            study_result.map("twist", at=at)


def test_a_study_maps_one_family_and_one_model(study_result):
    panels = [axes for axes in study_result.map("tension.B", models="fe").axes if axes.lines]
    titles = [axes.get_title(loc="left") for axes in panels]
    assert len(titles) == 1
    assert "FE model" in titles[0] and "threads B" in titles[0]
    with refused(InputError, '"torque"', "twist"):
        study_result.map("torque")


def test_a_study_without_a_step_has_no_map(study_result):
    empty = replace(study_result, table=pandas.DataFrame())
    with pytest.raises(InputError):
        empty.map("twist")


# ---------------------------------------------------------------------------- comparison and trust


def test_a_comparison_draws_a_measured_quantity(tmp_path):
    file = write_bench(tmp_path / "wrist.bench.csv", fast_rows(left=1.5), seed=4)
    bench = read_bench(file, make_compared_study().base)
    comparison = compare_with_bench(make_study_result(), bench)
    assert "twist" in labels(comparison.plot())[0]
    assert "displacement" in labels(comparison.plot("displacement"))[0]
    with refused(InputError, '"bulge"', "twist, displacement"):
        comparison.plot("bulge")


def test_trust_draws_its_map_and_the_corrected_model(study_result, tmp_path):
    trust = Trust.of(study_result, "twist 1 deg")
    assert isinstance(trust.plot(), Figure)
    assert len(trust.model.plot().axes) == 2 * len(trust.model.quantities)
    trust.model.save(tmp_path / "corrected.npz")
    with pytest.raises(InputError):
        CorrectedModel.load(tmp_path / "corrected.npz").plot()


# ------------------------------------------------------------------------------------------ process


def test_pyplot_is_not_loaded_and_no_display_is_needed(result, tmp_path):
    Result(result.case, result.runs).save(tmp_path)
    script = """
import os, sys
os.environ.pop("DISPLAY", None)
from fem import Result
Result.load(sys.argv[1]).plot().savefig(sys.argv[1] + "/plot.png")
assert "matplotlib.pyplot" not in sys.modules
"""
    subprocess.run([sys.executable, "-c", script, str(tmp_path)], check=True)
    assert (tmp_path / "plot.png").stat().st_size > 10_000
