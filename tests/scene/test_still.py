"""Pictures for papers: their text, lettering and scale."""

import io
import math
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from fem.core.errors import InputError
from fem.scene.appearance import MARK_TITLE, NO_TENSION_TITLE, START_TITLE
from fem.scene.colours import scales_of
from fem.scene.result_view import result_views, solids
from fem.scene.still.figure import PageFigure, _length
from fem.scene.still.layout import MAX_VIEWS, VIEW_HEIGHT
from fem.scene.still.legend import REST_MARK_TITLE, Legend
from fem.scene.still.picture import Page
from fem.solving.single import solve
from tests.helpers.messages import assert_states
from tests.helpers.pictures import check_lettering, words

LONG_TITLE = "A title that goes on and on, with $5 in it, " * 10
MINUS = "\N{MINUS SIGN}"


@pytest.fixture(scope="module")
def shown(result):
    return result_views(result)


def board(shown, step=-1, height=None, dpi=100):
    steps = [[step % len(one.rows)] for one in shown]
    place = Page(shown, steps, height_mm=height).layout
    page = PageFigure(place, dpi)
    page.show([one.rows[step] for one in shown])
    return page, place


# ---------------------------------------------------------------------------------------- its text


def test_values_are_those_of_the_row(shown):
    text = words(board(shown)[0].figure)
    for view in shown:
        row = view.rows[-1]
        displacement = f"{row['displacement_mm']:.3f}".replace("-", MINUS)
        assert_states(text, f"{row['twist_deg']:.2f}", displacement, f"{row['bulge_mm']:.3f}")
        assert f"{60 + row['displacement_mm']:.1f} mm" in text  # the present length
    assert_states(text, "FE model, 15 kPa", "fast model, 15 kPa", "twist [deg]")


def test_showing_another_state_removes_the_last(shown):
    page, _ = board(shown)
    last = words(page.figure)
    page.show([one.rows[0] for one in shown])
    rest = words(page.figure)
    assert f"{shown[0].rows[-1]['twist_deg']:.2f}" not in rest
    assert rest.count("60.0 mm") == 2
    page.show([one.rows[-1] for one in shown])
    assert words(page.figure) == last


def test_the_legend_has_both_scales_with_their_ranges(shown):
    figure, scales = board(shown)[0].figure, scales_of(shown)
    assert_states(words(figure), *(scale.label for scale in scales))
    spans = [axes.get_ylim() for axes in figure.axes if axes.axison]
    assert spans == [(scale.low, scale.high) for scale in scales]


def test_slack_families_are_named(shown):
    rows = [dict(one.rows[-1], **{"taut_fraction.A": 0.0}) for one in shown]
    page, _ = board(shown)
    assert "none" in words(page.figure).split("\n")
    page.show(rows)
    assert words(page.figure).split("\n").count("A") == 2


def test_threads_are_described_if_cases_differ(shown, make_case):
    other = solve(make_case(pressure__steps=2, threads__1__angle="10 deg"), ["fast"])
    text = words(board([*shown, *result_views(other, "Another")])[0].figure)
    assert_states(text, f"{MINUS}30°, 12 threads", "+10°, 12 threads", "Another", "threads B")


def test_a_path_that_ended_early_has_a_note(shown):
    early = [replace(shown[0], note="balloon limit at 41.2 kPa"), shown[1]]
    text = words(board(early)[0].figure)
    assert_states(text, f"{early[0].title} of {early[0].name} stopped early", early[0].note)


def test_unknown_values_are_dashes(shown):
    page, _ = board([shown[0], replace(shown[1], model="bench", shapes=[])])
    row = {"twist_deg": 3.0, "displacement_mm": math.nan, "bulge_mm": math.nan}
    page.show([shown[0].rows[-1], row])
    lines = words(page.figure).split("\n")
    assert lines.count("\N{EN DASH}") == 4
    assert "3.00" in lines
    assert "nan" not in words(page.figure)


def test_the_legend_explains_exactly_what_is_shown(shown):
    def explained(step, **options):
        return set(Page(shown, [[step]] * 2, **options).layout.legend.samples)

    turned = {MARK_TITLE, REST_MARK_TITLE}
    assert explained(2) == turned | {START_TITLE}
    assert explained(2, start=False) == turned
    assert explained(0) == {MARK_TITLE, NO_TENSION_TITLE}  # at rest both shapes are the same
    page = Page(shown, [[0], [0]])
    assert "start" not in {solid.role for solid in page.solids(0, *page.states[0])}


@pytest.mark.parametrize(
    ("values", "bars", "samples"),
    [
        ([0.1, math.nan], ["tension"], [NO_TENSION_TITLE]),
        ([0.1, 0.2], ["tension"], []),
        ([math.nan, math.nan], [], [NO_TENSION_TITLE]),
    ],
)
def test_a_part_of_a_thread_without_tension_is_in_the_legend(shown, values, bars, samples):
    (threads,) = (solid for solid in solids(shown[0], 2) if solid.role == "threads")
    some = replace(threads, values=np.array(values))
    legend = Legend(shown, scales_of(shown), [[some]], [shown[0].rows[0]])
    assert [scale.quantity for scale in legend.scales] == bars
    assert legend.samples == samples


def test_positions_may_be_interpolated_but_values_are_solved_ones(shown):
    page, place = board(shown)
    between = [dict(one.rows[1], twist_deg=12.345, displacement_mm=-1.234) for one in shown]
    page.show([one.rows[1] for one in shown], between)
    text, row = words(page.figure), shown[0].rows[1]
    assert_states(text, f"{row['twist_deg']:.2f}", f"{60 + row['displacement_mm']:.1f} mm")
    assert "12.35" not in text and "12.34" not in text and "58.8 mm" not in text
    lines = page.figure.findobj(lambda artist: artist.get_gid() == "twist")
    turned = [line.get_xydata()[-1, 0] - x for line, x in zip(lines, place.centres, strict=True)]
    assert turned == pytest.approx([turned[0]] * 2)


# --------------------------------------------------------------------------------------- lettering


@pytest.mark.parametrize("title", ["Plain", " ", LONG_TITLE, "W" * 300])
@pytest.mark.parametrize("count", [1, 2, MAX_VIEWS])
def test_lettering(shown, title, count):
    many = [replace(shown[number % 2], name=f"{title[:-1]}{number}") for number in range(count)]
    early = [replace(one, note=LONG_TITLE) for one in many[:2]] + many[2:]
    check_lettering(board(early)[0].figure)


FAMILIES = [
    {"name": name, "count": 6, "angle": angle, "stiffness": "200 N"}
    for name, angle in [("left", "30 deg"), ("a-name-of-just_thirty-two_letters"[:30], "0 deg")]
]


@pytest.mark.parametrize("length", ["4 mm", "160 mm"])
@pytest.mark.parametrize("families", [0, 2, 6])
def test_lettering_of_other_tubes(make_case, length, families):
    threads = [
        dict(FAMILIES[number % 2], name=f"{FAMILIES[number % 2]['name']}_{number}")
        for number in range(families)
    ]
    drive = {"end": "0.5 kPa", "steps": 1}
    case = make_case(tube__length=length, threads=threads, pressure=drive)
    check_lettering(board(result_views(solve(case, ["fast"])))[0].figure)


def test_lettering_of_unlike_cases(shown, make_case):
    """The threads of one case have a hold and a slack rule to describe."""
    changes = {"threads__0__hold": "sliding", "threads__0__slack": "cut at 30 deg"}
    other = solve(make_case(pressure__steps=2, **changes), ["fast"])
    page, _ = board([*shown, *result_views(other, "Another")])
    check_lettering(page.figure)
    assert "sliding, cut at 30 deg" in words(page.figure)


def test_a_name_in_a_narrow_column_is_complete(shown):
    """Earlier its third line, a per cent sign, was not drawn."""
    name = "Greenhouse wrist, narrow, slack 5 %"
    page, place = board(
        [replace(one, name=f"{name} {model}") for one, model in zip(shown, "ab", strict=True)]
    )
    for head, model in zip(place.heads, "ab", strict=True):
        assert " ".join(head).startswith(f"{name} {model} ")
        assert "\n".join(head) in words(page.figure)
    check_lettering(page.figure)


def test_names_of_slack_families_are_complete(make_case):
    """Two of three families have long names, which take several lines."""
    names = ["a-name-of-just_thirty-two_letter", "another-name_of_thirty-two_letters"[:32], "B"]
    threads = [dict(FAMILIES[0], name=name, angle=f"{n} deg") for n, name in enumerate(names)]
    solved = result_views(solve(make_case(threads=threads, pressure__steps=1), ["fast"]))
    rows = [
        dict(row, **{f"taut_fraction.{name}": 0.0 for name in names[:2]}) for row in solved[0].rows
    ]
    page, _ = board([replace(solved[0], rows=rows)])
    assert ",".join(names[:2]) in words(page.figure).replace("\n", "").replace(" ", "")
    check_lettering(page.figure)


# -------------------------------------------------------------------------------------------- scale


def test_scale_bar_is_true(shown):
    page, place = board(shown)
    (bar,) = page.figure.findobj(lambda artist: artist.get_gid() == "scale")
    assert np.ptp(bar.get_xdata()) * place.scale == pytest.approx(10)
    assert "10 mm" in words(page.figure)


def test_the_same_height_gives_the_same_scale(shown, make_case):
    """In different cases 90 mm fill the picture, and the base plates are at the same place."""
    longer = result_views(solve(make_case(tube__length="70 mm", pressure__steps=1), ["fast"]))
    one, other = (board(some, height=90.0)[1] for some in (shown, longer))
    assert one.viewport.height == other.viewport.height == 90.0
    assert one.scale == other.scale == 90.0 / VIEW_HEIGHT
    assert one.viewport.bottom == other.viewport.bottom


def test_a_height_that_is_too_small_is_refused(shown):
    with pytest.raises(InputError, match=r"--height 50 mm.* \d\d mm"):
        board(shown, height=50.0)


def test_too_many_views_are_refused(shown):
    with pytest.raises(InputError, match=f"{MAX_VIEWS + 1} .*at most {MAX_VIEWS} "):
        board([shown[0]] * (MAX_VIEWS + 1))


# ---------------------------------------------------------------------------------------- as pixels


def test_a_frame_is_the_page(shown):
    """Changing parts drawn over fixed ones give the page that matplotlib draws at once."""
    page, place = board(shown)
    wide, tall = place.pixels(100)
    grey = np.full((tall, wide, 3), 200, dtype=np.uint8)
    page.show([one.rows[1] for one in shown])
    page.frame(grey)
    page.show([one.rows[-1] for one in shown])
    frame = page.frame(grey)
    figure = board(shown)[0].with_picture(grey)
    figure.savefig(file := io.BytesIO(), dpi=100, facecolor="white")
    whole = np.asarray(Image.open(file).convert("RGB"))[: len(frame), : frame.shape[1]]
    assert frame.shape[0] % 2 == frame.shape[1] % 2 == 0
    assert np.abs(frame.astype(int) - whole).max() <= 2


@pytest.mark.parametrize(
    ("length", "text"), [("60 mm", "60.0 mm"), ("4 mm", "4.00 mm"), ("160 mm", "160.0 mm")]
)
def test_lengths_have_three_digits(result, length, text):
    view = result_views(result)[1]
    case = view.case.changed(tube__length=length)
    shown = type(view)(view.name, case, "fast", view.rows, view.shapes)
    assert _length(shown, view.rows[0]) == text
