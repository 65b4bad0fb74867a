"""The 3D picture of a path: text, labels, colour bar, scale and states."""

import numpy as np
import pytest
from matplotlib.text import Text
from PIL import Image

from fem.core.units import MINUS
from fem.results.result import Result
from fem.scene.marks import family_text
from fem.scene.still.legend import REST_MARK_TITLE
from fem.scene.still.path import draw_shape, path_page
from fem.solving.single import solve
from fem.wording.picture_text import DPI
from tests.helpers.messages import assert_states
from tests.helpers.pictures import blank, check_lettering, cut, words

LONG_TITLE = "A title that goes on and on, with $5 in it, " * 10
COARSE = "1x1x6"


@pytest.fixture(scope="module")
def bare(make_case):
    return solve(make_case(threads=[], pressure__end="6 kPa"), ["fe"], "1x1x6")


def visible_text(figure):
    return "\n".join(text.get_text() for text in figure.findobj(Text) if text.get_visible())


def test_shape_file(result, tmp_path):
    draw_shape(result, tmp_path / "shape.png")
    width, height = path_page(result).layout.page
    with Image.open(tmp_path / "shape.png") as image:
        assert image.info["dpi"] == pytest.approx((DPI, DPI), rel=1e-3)
        assert image.size == pytest.approx((width * DPI, height * DPI), abs=1)


def test_both_states_have_headings_values_lengths_and_labels(result):
    row = result.runs[0].rows[-1]
    lines = words(blank(result)[0]).split("\n")
    assert "FE model, at rest" in lines
    assert "FE model, 15 kPa" in lines
    assert f"{row['twist_deg']:.2f}" in lines
    assert f"{row['displacement_mm']:.3f}".replace("-", MINUS) in lines
    assert f"{row['bulge_mm']:.3f}" in lines
    assert "60.0 mm" in lines  # the length at rest
    assert lines.count("A") == lines.count("B") == 2  # a label per family and tube
    assert "A, +20°, 12\N{NO-BREAK SPACE}threads" in lines
    assert f"B, {MINUS}30°, 12\N{NO-BREAK SPACE}threads" in lines


def test_colour_bar_spans_the_tensions(result):
    """It spans all steps, so that pictures of several steps have the same colours."""
    figure, page = blank(result)
    assert "thread tension [N]" in words(figure)
    assert "wall stretch" not in words(figure)  # the wall is grey
    (bar,) = (axes for axes in figure.axes if axes.axison)
    greatest = max(family.tension.max() for shape in result.shapes for family in shape.threads)
    assert bar.get_ylim() == (0, greatest)
    assert page.scales.tension.high == greatest


def test_threads_without_tension_are_in_the_legend(result, bare):
    assert "no tension" in words(blank(result)[0])
    assert "no threads" in words(blank(bare)[0])
    assert "tension" not in words(blank(bare)[0])


def test_a_run_that_ended_at_rest_is_one_tube_without_colour_bar(result):
    figure, page = blank(Result(result.case, [cut(result.runs[0], 0)]))
    assert len(page.states) == 1
    assert "thread tension" not in words(figure)
    assert REST_MARK_TITLE not in words(figure)
    assert_states(words(figure), "FE model of Greenhouse wrist stopped early", "no equilibrium")


def test_text_and_lines_are_drawn_above_the_solids(result, tmp_path):
    """The rendered picture does not hide dimension lines and labels."""
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
    """Check that each label is in the picture, and its line ends on its tube."""
    (tubes,) = (axes for axes in figure.axes if axes.get_label() == "tubes")
    layout, threads = page.layout, page.layout.views[0].case.threads
    names = [family.name for family in threads]
    tags = [text for text in tubes.texts if text.get_text().replace("\n", "") in names]
    assert [text.get_text().replace("\n", "") for text in tags] == names * len(layout.centres)
    for text in tags:
        assert layout.viewport.bottom < text.get_position()[1] < layout.viewport.top
    spots = [line.get_xydata()[0] for line in tubes.lines if line.get_marker() == "o"]
    assert len(spots) == len(tags)
    for number, (x, _) in enumerate(spots):
        tube = number // len(names)
        assert abs(x - layout.centres[tube]) <= layout.halves[tube]


def test_the_last_state_is_the_limit_and_not_one_beyond(make_case):
    case = make_case(threads=[], pressure={"end": "20 kPa", "steps": 5})
    solved = solve(case, "fe", COARSE)
    figure, page = blank(solved)
    limit = next(row for row in solved.runs[0].rows if row["limit"])
    assert page.states[-1][1].pressure == pytest.approx(limit["pressure_kPa"] / 1e3)
    assert page.layout.heads[-1][0].startswith("FE model, balloon limit,")
    assert_states(visible_text(figure), "stopped early", "balloon limit at 11.")


def test_the_state_before_a_move_is_shown(make_case):
    case = make_case(
        pressure={"end": "4 kPa", "steps": 1}, move={"displacement": "-6 mm", "steps": 1}
    )
    figure, page = blank(solve(case, "fe", COARSE))
    heads = [" ".join(head) for head in page.layout.heads]
    assert heads == ["FE model, at rest", "FE model, 4 kPa", f"FE model, {MINUS}6 mm"]
    lines = visible_text(figure).split("\n")
    assert (lines.count("all"), lines.count("none")) == (2, 1)  # slack until the tube is moved
    check_lettering(figure)


def test_a_tube_twisted_before_inflation_is_not_at_rest(make_case):
    case = make_case(pressure={"end": "1 kPa", "steps": 1}, end={"torque": "2 N mm"})
    page = path_page(solve(case, "fe", COARSE))
    assert " ".join(page.layout.heads[0]) == "FE model, before inflation"


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({}, "A, +20°, 12 threads"),
        ({"hold": "sliding", "slack": "5 %"}, "A, +20°, 12 threads, sliding, slack 5 %"),
        ({"slack": "cut at 30 deg"}, "A, +20°, 12 threads, cut at 30 deg"),
    ],
)
def test_the_description_of_a_family_has_what_differs_from_the_defaults(make_case, changes, text):
    family = make_case(**{f"threads__0__{key}": value for key, value in changes.items()}).threads[0]
    assert " ".join(family_text(family)).replace("\N{NO-BREAK SPACE}", " ") == text
