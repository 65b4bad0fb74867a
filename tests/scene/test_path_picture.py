"""The 3D picture of a path: its words, tags, colour bar and scale; the states that it shows."""

import numpy as np
import pytest
from matplotlib.text import Text
from PIL import Image

from fem.core.units import MINUS
from fem.results.result import Result
from fem.scene.marks import family_text
from fem.scene.still.path import draw_shape, path_page
from fem.solving.single import solve
from fem.wording.picture_text import DPI
from tests.helpers.pictures import blank, check_lettering, cut, words

LONG_TITLE = "A title that goes on and on, with $5 in it, " * 10
COARSE = "1x1x6"


@pytest.fixture(scope="module")
def bare(make_case):
    return solve(make_case(threads=[], pressure__end="6 kPa"), ["fe"], "1x1x6")


def said(figure):
    return "\n".join(text.get_text() for text in figure.findobj(Text) if text.get_visible())


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
    layout, threads = page.layout, page.layout.views[0].case.threads
    names = [family.name for family in threads]
    tags = [text for text in stage.texts if text.get_text().replace("\n", "") in names]
    assert [text.get_text().replace("\n", "") for text in tags] == names * len(layout.centres)
    for text in tags:
        assert layout.viewport.bottom < text.get_position()[1] < layout.viewport.top
    spots = [line.get_xydata()[0] for line in stage.lines if line.get_marker() == "o"]
    assert len(spots) == len(tags)
    for number, (across, _) in enumerate(spots):
        tube = number // len(names)
        assert abs(across - layout.centres[tube]) <= layout.halves[tube]


def test_the_limit_is_shown_and_not_what_lies_beyond(make_case):
    case = make_case(threads=[], pressure={"end": "20 kPa", "steps": 5})
    solved = solve(case, "fe", COARSE)
    figure, page = blank(solved)
    limit = next(row for row in solved.runs[0].rows if row["limit"])
    assert page.states[-1][1].pressure == pytest.approx(limit["pressure_kPa"] / 1e3)
    assert page.layout.heads[-1][0].startswith("FE model, balloon limit,")
    assert "stopped early: balloon limit at 11." in said(figure)


def test_a_move_is_shown_from_where_it_began(make_case):
    case = make_case(
        pressure={"end": "4 kPa", "steps": 1}, move={"displacement": "-6 mm", "steps": 1}
    )
    figure, page = blank(solve(case, "fe", COARSE))
    heads = [" ".join(head) for head in page.layout.heads]
    assert heads == ["FE model, at rest", "FE model, 4 kPa", f"FE model, {MINUS}6 mm"]
    assert said(figure).split("\n").count("all") == 2, (
        "at rest and with volume added, threads hang loose"
    )
    assert said(figure).split("\n").count("none") == 1
    check_lettering(figure)


def test_what_turns_before_inflation_is_not_at_rest(make_case):
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
def test_the_key_names_what_is_not_the_usual(make_case, changes, text):
    family = make_case(**{f"threads__0__{key}": value for key, value in changes.items()}).threads[0]
    assert " ".join(family_text(family)).replace("\N{NO-BREAK SPACE}", " ") == text
