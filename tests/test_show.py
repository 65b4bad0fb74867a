"""The pages of the pictures, curves and captions: what a program can tell of them without eyes."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib import rcParams
from PIL import Image

from fem.result import Result
from fem.run import solve
from fem.show.curves import draw_curves, plot_curves
from fem.show.scene import draw_shape
from fem.show.stage import figures, set_scene
from fem.show.style import DPI
from tests.shown import blank, check_lettering, cut, words

LONG_TITLE = "A title that goes on and on, with $5 in it, " * 10


@pytest.fixture(scope="module")
def bare(make_case):
    return solve(make_case(threads=[], pressure__end="6 kPa"), ["fe"], "1x1x6")


def titled(result, title):
    return replace(result, case=result.case.changed(title=title))


# --------------------------------------------------------------------------------------- curves


def test_curves_are_the_steps_of_both_models(result):
    figure = plot_curves(result)
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
def test_ticks_have_room_whatever_their_size(result, size):
    columns = ("twist_deg", "displacement_mm", "bulge_mm")
    rows = [
        row | {name: size * (step - 1) for name in columns}
        for step, row in enumerate(result.runs[0].rows)
    ]
    scaled = replace(result.runs[0], rows=rows)
    check_lettering(plot_curves(titled(Result(result.case, [scaled]), LONG_TITLE)))


def test_models_differ_by_more_than_colour(result):
    fe, fast = plot_curves(result).legends[0].get_lines()
    assert fe.get_color() != fast.get_color()
    assert fe.get_linestyle() != fast.get_linestyle()
    assert fe.get_marker() != fast.get_marker()


def test_curves_file(result, tmp_path):
    before = dict(rcParams)
    draw_curves(result, tmp_path / "curves.png")
    assert dict(rcParams) == before
    with Image.open(tmp_path / "curves.png") as image:
        assert image.info["dpi"] == pytest.approx((DPI, DPI), rel=1e-3)
        assert image.size[0] == pytest.approx(plot_curves(result).get_figwidth() * DPI, abs=1)
        assert np.ptp(np.asarray(image.convert("L"))) > 200


def test_an_early_end_is_said_and_marked(result):
    stopped = Result(result.case, [cut(result.runs[0], 1), result.runs[1]])
    figure = plot_curves(stopped)
    assert "FE model: no equilibrium was found beyond 1 kPa" in words(figure)
    assert "FE model stops at 7.5 kPa" in words(figure)
    assert "fast model stops" not in words(figure)
    assert all(axes.get_xlim()[1] >= 15 for axes in figure.axes), "the demanded pressure is shown"


def test_unstable_steps_are_crosses(result):
    run = result.runs[0]
    rows = [dict(row, stable=row["step"] < 2) for row in run.rows]
    figure = plot_curves(Result(result.case, [replace(run, rows=rows)]))
    crosses = [line for line in figure.axes[0].lines if line.get_marker() == "x"]
    points = np.concatenate([line.get_xydata() for line in crosses])
    assert points.tolist() == [[15.0, rows[2]["twist_deg"]]]
    assert "unstable" in words(figure)
    assert "unstable" not in words(plot_curves(result))


def test_a_curve_of_round_off_is_drawn_flat(bare):
    assert plot_curves(bare).axes[0].get_ylim() == (-1, 1)


@pytest.mark.parametrize("title", ["Plain", " ", LONG_TITLE, "W" * 300])
@pytest.mark.parametrize("steps", [2, 0])
def test_lettering_of_curves(result, title, steps):
    runs = result.runs if steps else [cut(run, 0) for run in result.runs]
    check_lettering(plot_curves(titled(Result(result.case, runs), title)))


# ----------------------------------------------------------------------------------- 3D picture


def test_shape_file(result, tmp_path):
    draw_shape(result, tmp_path / "shape.png")
    width, height = set_scene(result).layout.page
    with Image.open(tmp_path / "shape.png") as image:
        assert image.info["dpi"] == pytest.approx((DPI, DPI), rel=1e-3)
        assert image.size == pytest.approx((width * DPI, height * DPI), abs=1)


def test_captions(result):
    figure, _ = blank(result)
    row = result.runs[0].rows[-1]
    said = words(figure)
    assert "at rest" in said
    assert f"at 15 kPa: twist {row['twist_deg']:.3g}°" in said
    assert f"displacement \N{MINUS SIGN}{-row['displacement_mm']:.3g} mm" in said
    assert f"bulge {row['bulge_mm']:.3g} mm" in said
    assert "60 mm" in said, "the length at rest"
    assert "A, +20°, 12" in said
    assert "B, \N{MINUS SIGN}30°, 12" in said


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (22.68, "22.7"),
        (-5.306, "\N{MINUS SIGN}5.31"),
        (-1e-9, "0"),
        (1234.5, "1234"),
        (999.7, "1000"),
    ],
)
def test_figures(number, text):
    assert figures(number) == text


def test_colour_bar_spans_the_tensions(result):
    figure, scene = blank(result)
    bars = [axes for axes in figure.axes if axes.get_ylabel() == "thread tension [N]"]
    greatest = max(family.tension.max() for family in result.shapes[-1].threads)
    assert len(bars) == 1
    assert bars[0].get_ylim() == (0, greatest)
    assert scene.colours.get_clim() == (0, greatest)


def test_threads_without_tension_are_explained(result, bare):
    assert "no tension" in words(blank(result)[0])
    assert "no threads" in words(blank(bare)[0])
    assert "tension" not in words(blank(bare)[0])


def test_a_run_that_ended_at_rest_is_one_tube_without_colour_bar(result):
    figure, scene = blank(Result(result.case, [cut(result.runs[0], 0)]))
    assert len(scene.poses) == 1
    assert scene.colours is None
    assert "thread tension" not in words(figure)
    assert "Stopped early: no equilibrium" in words(figure)


def test_lettering_lies_above_the_solids(result, tmp_path):
    """Dimension lines and names would vanish under the rendered picture."""
    draw_shape(result, tmp_path / "shape.png")
    layout = set_scene(result).layout
    pixels = np.asarray(Image.open(tmp_path / "shape.png").convert("L"))
    left = round(0.35 * DPI)  # just inside the scale bar, which begins at 0.3 in
    row = len(pixels) - round((layout.below + 0.1) * DPI)
    assert pixels[row - 4 : row + 5, left].min() < 80


def test_scale_bar_is_true(result):
    figure, _ = blank(result)
    (bar,) = figure.findobj(lambda artist: artist.get_gid() == "scale")
    length = np.ptp(bar.get_xdata())
    assert length == pytest.approx(10)
    assert "10 mm" in words(figure)


FAMILIES = [
    {"name": name, "count": 6, "angle": angle, "stiffness": "200 N"}
    for name, angle in [("left", "30 deg"), ("a-name-of-just_thirty-two_letters"[:32], "0 deg")]
]


@pytest.mark.parametrize("length", ["4 mm", "160 mm"])
@pytest.mark.parametrize("families", [0, 2, 7])
def test_lettering_of_shape(make_case, length, families):
    threads = [
        dict(FAMILIES[number % 2], name=f"{FAMILIES[number % 2]['name'][:30]}_{number}")
        for number in range(families)
    ]
    case = make_case(
        title=LONG_TITLE,
        tube__length=length,
        threads=threads,
        pressure={"end": "0.5 kPa", "steps": 1},
    )
    solved = solve(case, ["fe"], "1x1x2")
    check_lettering(blank(Result(case, [cut(solved.runs[0], 1)]))[0])
