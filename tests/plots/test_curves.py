"""The pages of the pictures, curves and captions: what a program can tell of them without eyes."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib import rcParams
from PIL import Image

from fem.core.units import MINUS
from fem.plots.curves import curves_figure, save_pictures
from fem.results.result import Result
from fem.scene.still.path import draw_shape, path_page
from fem.solving.single import solve
from fem.wording.picture_text import DPI
from tests.helpers.shown import blank, check_lettering, cut, legend, titled, words

LONG_TITLE = "A title that goes on and on, with $5 in it, " * 10


def drawn(result):
    return curves_figure(result).figure()


@pytest.fixture(scope="module")
def bare(make_case):
    return solve(make_case(threads=[], pressure__end="6 kPa"), ["fe"], "1x1x6")


# --------------------------------------------------------------------------------------- curves


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
def test_ticks_have_room_whatever_their_size(result, size):
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


def test_an_early_end_is_said_and_marked(result):
    stopped = Result(result.case, [cut(result.runs[0], 1), result.runs[1]])
    figure = drawn(stopped)
    assert "FE model: no equilibrium was found beyond 7.5 kPa" in words(figure)
    assert "FE model stops at 7.5 kPa" in words(figure)
    assert "fast model stops" not in words(figure)
    assert all(axes.get_xlim()[1] >= 15 for axes in figure.axes), "the demanded pressure is shown"


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


# ----------------------------------------------------------------------------------- 3D picture


def test_shape_file(result, tmp_path):
    draw_shape(result, tmp_path / "shape.png")
    width, height = path_page(result).layout.page
    with Image.open(tmp_path / "shape.png") as image:
        assert image.info["dpi"] == pytest.approx((DPI, DPI), rel=1e-3)
        assert image.size == pytest.approx((width * DPI, height * DPI), abs=1)


def test_what_is_said_of_both_ends(result):
    row = result.runs[0].rows[-1]
    said = words(blank(result)[0]).split("\n")
    assert "FE model, at rest" in said
    assert "FE model, 15 kPa" in said
    assert f"{row['twist_deg']:.2f}" in said
    assert f"{row['displacement_mm']:.3f}".replace("-", MINUS) in said
    assert f"{row['bulge_mm']:.3f}" in said
    assert "60.0 mm" in said, "the length at rest"
    assert said.count("A") == said.count("B") == 2, "a tag to each family at each tube"
    assert "A, +20°, 12\N{NO-BREAK SPACE}threads" in said
    assert f"B, {MINUS}30°, 12\N{NO-BREAK SPACE}threads" in said


def test_colour_bar_spans_the_tensions(result):
    """Of the whole path, so that pictures of several steps of it have the same colours."""
    figure, page = blank(result)
    assert "thread tension [N]" in words(figure)
    assert "wall stretch" not in words(figure), "the wall is grey"
    (bar,) = (axes for axes in figure.axes if axes.axison)
    greatest = max(family.tension.max() for shape in result.shapes for family in shape.threads)
    assert bar.get_ylim() == (0, greatest)
    assert page.scales.tension.high == greatest


def test_threads_without_tension_are_explained(result, bare):
    assert "no tension" in words(blank(result)[0])
    assert "no threads" in words(blank(bare)[0])
    assert "tension" not in words(blank(bare)[0])


def test_a_run_that_ended_at_rest_is_one_tube_without_colour_bar(result):
    figure, page = blank(Result(result.case, [cut(result.runs[0], 0)]))
    assert len(page.states) == 1
    assert "thread tension" not in words(figure)
    assert "free end's mark at rest" not in words(figure)
    assert "FE model of Greenhouse wrist stopped early: no equilibrium" in words(figure)


def test_lettering_lies_above_the_solids(result, tmp_path):
    """Dimension lines and names would vanish under the rendered picture."""
    draw_shape(result, tmp_path / "shape.png")
    layout = path_page(result).layout
    pixels = np.asarray(Image.open(tmp_path / "shape.png").convert("L"))
    left = round(0.35 * DPI)  # just inside the scale bar, which begins at 0.3 in
    row = len(pixels) - round((layout.below + 0.12) * DPI)
    assert pixels[row - 4 : row + 5, left].min() < 80


def test_scale_bar_is_true(result):
    figure, page = blank(result)
    (bar,) = figure.findobj(lambda artist: artist.get_gid() == "scale")
    length = np.ptp(bar.get_xdata()) * page.layout.scale
    assert length == pytest.approx(10)
    assert "10 mm" in words(figure)


def families(*names, angle="30 deg"):
    return [{"name": name, "count": 6, "angle": angle, "stiffness": "200 N"} for name in names]


LONGEST = "a-name-of-just_thirty-two_letters"[:30]
TUBES = {
    "bare": [],
    "one family": families("A"),
    "nearly hoops": families("A", "hoops", angle="85 deg"),
    "along": families("A", angle="0 deg"),
    "wide names": families("WWWWWWWWW", "MMMMMMMMM"),
    "many": families(*(f"{LONGEST}_{number}" for number in range(7))),
    "few threads": [dict(family, count=3) for family in families("A", "B")],
}


@pytest.mark.parametrize("length", ["4 mm", "160 mm"])
@pytest.mark.parametrize("threads", TUBES.values(), ids=TUBES)
def test_lettering_of_shape(make_case, length, threads):
    case = make_case(
        title=LONG_TITLE,
        tube__length=length,
        threads=threads,
        pressure={"end": "0.5 kPa", "steps": 1},
    )
    solved = solve(case, ["fe"], "1x1x2")
    figure, page = blank(Result(case, [cut(solved.runs[0], 1)]))
    check_lettering(figure)
    check_tags(figure, page)


def check_tags(figure, page):
    """Each stands in the view, and its line ends on its tube."""
    (stage,) = (axes for axes in figure.axes if axes.get_label() == "stage")
    layout, threads = page.layout, page.layout.exhibits[0].case.threads
    names = [family.name for family in threads]
    tags = [text for text in stage.texts if text.get_text().replace("\n", "") in names]
    assert [text.get_text().replace("\n", "") for text in tags] == names * len(layout.centres)
    for text in tags:
        assert layout.view.bottom < text.get_position()[1] < layout.view.top
    spots = [line.get_xydata()[0] for line in stage.lines if line.get_marker() == "o"]
    assert len(spots) == len(tags)
    for number, (across, _) in enumerate(spots):
        tube = number // len(names)
        assert abs(across - layout.centres[tube]) <= layout.halves[tube]
