"""Several results on one page in a real browser: names, scales and paths of different length."""

import json
from dataclasses import replace
from itertools import pairwise

import pytest

from fem.scene.result_view import result_views
from fem.solving.single import solve
from fem.web.server import make_app
from tests.helpers.browser import chromium, serving, tab  # noqa: F401 - fixtures

PATH = "#path"
SECOND = "A second wrist, with a rather long name"


@pytest.fixture(scope="module")
def address(result, make_case, chromium):  # noqa: F811 - where there is no browser, none is served
    """Return the address of two results of both models, and of a longer tube on a longer path."""
    pair = result_views(result)
    longer = make_case(title="Longer", tube__length="120 mm", pressure__steps=5)
    shown = [*pair, *(replace(one, name=SECOND) for one in pair)]
    shown += result_views(solve(longer, models=["fast"]))
    with serving(make_app(shown, "Several", base=None, key="wren"), "wren/") as found:
        yield found


@pytest.fixture
def page(tab, address):  # noqa: F811
    """Return a wide tab that shows them; its requests are checked at the end."""
    opened = tab(1440, 900).open(address)
    yield opened
    opened.check()


def choose(page, name):
    page.page.locator(f"{PATH} .tw-choice label:has-text('{name}')").click()


def test_shorter_paths_stay_at_their_last_step_and_are_marked(page):
    assert page.page.locator(f"{PATH} canvas").count() == 5
    assert page.page.locator(f"{PATH} output").text_content() == "5 of 5, 15 kPa"
    states = page.page.locator(f"{PATH} .tw-state").all_inner_texts()
    assert states == ["15 kPa (last step)"] * 4 + ["15 kPa"]
    row = page.page.locator(f"{PATH} tbody tr").first.locator("td").all_inner_texts()
    assert row == states
    page.page.locator(f"{PATH} .tw-slide input").fill("2")
    assert page.page.locator(f"{PATH} .tw-state").first.inner_text() == "15 kPa"


def test_hiding_the_longest_path_while_it_plays_shows_the_last_step_of_the_others(page):
    choose(page, "Longer")
    assert page.page.locator(f"{PATH} output").text_content() == "2 of 2, 15 kPa"
    choose(page, "Longer")
    page.page.locator(f"{PATH} .tw-slide input").fill("1")
    page.page.locator(".tw-play").click()
    choose(page, "Longer")
    page.page.wait_for_timeout(1600)  # two steps
    assert page.page.locator(f"{PATH} output").text_content() == "2 of 2, 15 kPa"
    label = page.page.locator(f"{PATH} .tw-slide input").get_attribute("aria-valuetext")
    assert label == "step 2 of 2, 15 kPa"
    assert page.page.locator(".tw-play").inner_text() == "Play"


def test_after_a_reset_the_shapes_fill_the_picture_again(page):
    bar = page.page.locator(f"{PATH} .tw-scale").first

    def px_per_mm():
        page.rest()
        length = float(bar.inner_text().split()[0])
        return bar.locator("i").bounding_box()["width"] / length

    whole = px_per_mm()
    choose(page, "Longer")
    wide = page.page.locator(f"{PATH} canvas").first.bounding_box()["height"]
    assert px_per_mm() == pytest.approx(whole, rel=0.03), "the scale jumps"
    page.page.locator(f"{PATH} button:has-text('Front')").click()
    assert page.page.locator(f"{PATH} canvas").first.bounding_box()["height"] == wide
    assert px_per_mm() > 1.5 * whole


def test_a_table_of_many_columns_names_its_results_and_is_not_cut(page):
    table = page.page.locator(f"{PATH} .tw-scroll")
    assert table.evaluate("one => one.scrollWidth - one.clientWidth") == 0
    heads = page.page.locator(f"{PATH} .tw-results th")
    assert heads.all_inner_texts() == ["Greenhouse wrist", SECOND, "Longer"]
    assert [one.get_attribute("colspan") for one in heads.all()] == ["2", "2", "1"]


def test_the_tags_of_curves_do_not_overlap_each_other_or_the_ticks(page):
    """Four curves end at two places, those of the displacement at the bottom of the chart."""
    choose(page, "Longer")
    charts = page.page.evaluate(
        """() => [...document.querySelectorAll("#path .tw-chart")].map((chart) => {
          const boxes = (which) => [...chart.querySelectorAll(which)].map((one) => {
            const { top, bottom } = one.getBoundingClientRect();
            return [one.textContent, top + 2, bottom - 2];
          });
          return [boxes(".tw-curve text"), boxes("svg > text[text-anchor=middle]")];
        })"""
    )
    assert len(charts) == 2
    for tags, ticks in charts:
        assert [text for text, *_ in tags] == ["1", "2", "3", "4"]
        heights = sorted((top, bottom) for _, top, bottom in tags)
        assert all(one[1] <= other[0] for one, other in pairwise(heights)), "tags overlap"
        assert heights[-1][1] <= min(top for _, top, _ in ticks)


def test_steps_at_equal_pressure_are_drawn_over_the_step_number(tab, result):  # noqa: F811
    """As when the free end is moved after the last pressure step."""
    (path, _) = result_views(result)
    rows = [*path.rows, path.rows[-1] | {"twist_deg": 0.0}]
    moved = replace(path, rows=rows, shapes=[*path.shapes, path.shapes[-1]])
    with serving(make_app([moved], "Moved", base=None, key="wren"), "wren/") as found:
        opened = tab().open(found)
        chart = opened.page.locator(f"{PATH} .tw-chart").first
        assert chart.locator(".tw-across").text_content() == "step"
        places = chart.locator("polyline").first.get_attribute("points").split()[::2]
        assert len({*places}) == 4
        opened.check()


def test_a_long_name_of_a_family_does_not_widen_the_page(tab, make_case):  # noqa: F811
    case = make_case(threads__0__name="W" * 32, pressure__steps=1)
    shown = result_views(solve(case, models=["fast"]))
    with serving(make_app(shown, "Long", base=case, key="wren"), "wren/") as found:
        opened = tab(390).open(found)
        opened.page.wait_for_selector("#explorer tr[data-column]")
        assert [one for one in opened.layout() if "over" not in one] == []
        opened.check()


@pytest.mark.parametrize("width", [390, 1440])
def test_nothing_overflows_or_overlaps(tab, address, width):  # noqa: F811
    assert tab(width).open(address).layout() == []


def test_arrays_with_the_same_start_can_differ_in_length(page):
    refs = [{"at": 0, "count": count, "type": "i2"} for count in (3, 6)]
    frames = [{"points": ref} for ref in refs]
    head = {
        "scales": {},
        "views": [{"mmPerUnit": 1, "solids": [{"quantity": "", "frames": frames}]}],
    }
    text = json.dumps(head).encode()
    text += b" " * (-(4 + len(text)) % 8)
    packed = len(text).to_bytes(4, "little") + text + bytes(12)
    found = page.page.evaluate(
        """async (bytes) => (await import("./assets/unpack.js"))
          .unpack(new Uint8Array(bytes).buffer).views[0].solids[0]
          .frames.map(({ points }) => points.length)""",
        list(packed),
    )
    assert found == [3, 6]


def test_keys_have_the_titles_and_colours_of_the_pack(page):
    found = page.page.evaluate(
        """() => [...document.querySelectorAll("#path .tw-keys li")].map((one) =>
          [one.textContent.trim(), one.querySelector("path").getAttribute("stroke")])"""
    )
    assert found == [
        ["no tension", "rgb(92 92 92)"],
        ["index marks", "rgb(193 18 31)"],
        ["shape at rest", "rgb(115 128 143)"],
    ]
