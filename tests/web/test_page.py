"""The page in a real browser: its content, its controls, its requests."""

import math
import re

import numpy as np
import pandas as pd
import pytest
from scipy.ndimage import maximum_filter, minimum_filter

from fem.browser.assets import CLIENT, asset, bundle, modules
from fem.browser.embed import scene_block
from fem.browser.pack import pack
from fem.cli.app import CAUTION
from fem.scene.colours import scales_of
from fem.scene.result_view import result_views
from fem.solving.single import solve
from fem.web.server import make_app
from tests.helpers.browser import chromium, serving, tab  # noqa: F401 - fixtures
from tests.helpers.messages import assert_states

WIDTHS = [390, 1440]
PATH, EXPLORER = "#path", "#explorer"
NO_WEBGL = """
  const make = HTMLCanvasElement.prototype.getContext;
  HTMLCanvasElement.prototype.getContext = function (kind, ...others) {
    return /webgl/.test(kind) ? null : make.call(this, kind, ...others);
  };"""


@pytest.fixture(scope="module")
def shown(result):
    return result_views(result)


@pytest.fixture(scope="module")
def address(shown, make_case, chromium):  # noqa: F811 - where there is no browser, none is served
    app = make_app(shown, "Wrist <b>&amp; more", base=make_case(), key="wren")
    with serving(app, "wren/") as found:
        yield found


@pytest.fixture
def page(tab, address):  # noqa: F811
    """Return a tab that shows the page; its requests are checked at the end."""
    opened = tab().open(address)
    yield opened
    opened.check()


def number(text):
    return float(text.replace("\N{MINUS SIGN}", "-"))


def set_step(tab, to):  # noqa: F811
    tab.page.locator(f"{PATH} .tw-slide input").fill(str(to))
    tab.page.wait_for_timeout(50)


def test_every_script_of_the_page_exists_and_every_file_is_used():
    html = asset("page.html").read_text(encoding="utf-8")
    named = re.findall(r'(?:src|href)="assets/([^"]+)"', html)
    assert {"page.js", "viewer.css", "icon.svg"} <= set(named)
    assert all(asset(name).is_file() for name in named)
    ours = {file.name for file in CLIENT.iterdir()} - {"page.html"}
    assert ours == {*named, *modules("page.js"), *modules("embedded.js"), "loader.js"}


def test_all_scripts_are_from_this_package(page):
    """The page once loaded a framework from another package."""
    scripts = {url.rpartition("/")[2] for url in page.requests if url.endswith(".js")}
    assert scripts == set(modules("page.js"))


def test_names_of_bundled_scripts_are_unique():
    """The scripts of a report are bundled into one module with one scope of names."""
    names = re.findall(
        r"^(?:const|let|class|(?:async )?function) (\w+)", bundle("embedded.js"), re.M
    )
    assert sorted(names) == sorted(set(names))


def test_a_file_outside_the_client_folder_is_not_served():
    with pytest.raises(KeyError):
        asset("../page.py")


def test_a_title_with_markup_is_shown_as_text(page):
    assert page.page.locator("h1").inner_text() == "Wrist <b>&amp; more"
    assert "Wrist <b>" in page.page.title()


def test_the_page_shows_the_caution_of_the_command(page):
    assert page.page.locator("footer").inner_text().replace("\n", " ").strip() == CAUTION


def test_values_are_those_of_the_step_table_at_every_step(page, result, tmp_path):
    result.save(tmp_path)
    table = pd.read_csv(tmp_path / "steps.csv").set_index(["model", "step"])
    for step in range(3):
        set_step(page, step)
        for column, model in enumerate(("fe", "fast"), start=1):
            found = page.column(PATH, column)
            assert {"twist_deg", "displacement_mm", "bulge_mm", "tension_N.A"} <= set(found)
            for name, text in found.items():
                digits = len(text.partition(".")[2])
                assert number(text) == pytest.approx(
                    table.loc[(model, step), name], abs=0.5001 * 10**-digits
                )


def test_the_slider_changes_the_shape(page):
    last = page.picture()
    set_step(page, 0)
    assert (np.abs(page.picture() - last).max(axis=2) > 30).mean() > 0.02


def test_play_shows_all_steps_and_stops_at_the_last(page):
    input_, play = page.page.locator(f"{PATH} .tw-slide input"), page.page.locator(".tw-play")
    assert input_.input_value() == "2"
    play.click()
    assert input_.input_value() == "0"
    assert play.inner_text() == "Pause"
    page.page.wait_for_function("() => document.querySelector('.tw-slide input').value === '1'")
    page.page.wait_for_function("() => document.querySelector('.tw-play').textContent === 'Play'")
    assert input_.input_value() == "2"


def test_play_is_slow_if_reduced_motion_is_preferred(tab, address):  # noqa: F811
    opened = tab(reduced_motion="reduce").open(address)
    opened.page.locator(".tw-play").click()
    opened.page.wait_for_timeout(1000)
    assert opened.page.locator(f"{PATH} .tw-slide input").input_value() == "0"


def test_cut_open_and_the_shape_at_rest_change_the_picture(page):
    whole = page.picture()
    page.page.locator(f"{PATH} label:has-text('Cut open')").click()
    cut = page.picture()
    page.page.locator(f"{PATH} label:has-text('Shape at rest')").click()
    bare = page.picture()
    assert (np.abs(cut - whole).max(axis=2) > 30).mean() > 0.05
    assert (np.abs(bare - cut).max(axis=2) > 30).mean() > 0.001


def test_the_index_mark_is_rotated_by_the_twist(page, result):
    """Seen from the free end, the mark of the free end is at -90 deg plus the twist."""
    page.page.locator(f"{PATH} >> text=From the free end").click()
    page.page.locator(f"{PATH} label:has-text('Shape at rest')").click()
    twist = result.runs[0].rows[-1]["twist_deg"]
    red, scale = reds(page)
    inside = red[(np.hypot(*red.T) > 2 * scale) & (np.hypot(*red.T) < 6 * scale)]
    angle = math.degrees(math.atan2(*inside.mean(axis=0)[::-1]))
    assert angle == pytest.approx(-90 + twist, abs=1.5)
    assert abs(twist) > 10


def test_the_scale_bar_measures_the_base_plate(page, make_case):
    """The base plate has 1.5 times the tube's radius (fem.scene.plates); its mark ends there."""
    page.page.locator(f"{PATH} >> text=From the free end").click()
    page.page.locator(f"{PATH} label:has-text('Shape at rest')").click()
    red, scale = reds(page)
    rim = 1.5 * make_case().tube.outer_radius
    assert np.hypot(*red.T).max() / scale == pytest.approx(rim, rel=0.04)


def reds(page):
    """Return the places of red pixels from the middle of the first picture, and px per mm."""
    picture = page.picture()
    strong = (picture[..., 0] > 120) & (picture[..., 1] < 90) & (picture[..., 2] < 90)
    rows, columns = np.nonzero(strong)
    height, width = strong.shape
    bar = page.page.locator(f"{PATH} .tw-scale").first
    length = float(bar.inner_text().split()[0])
    places = np.stack([columns - (width - 1) / 2, (height - 1) / 2 - rows], axis=1)
    return places, bar.locator("i").bounding_box()["width"] / length


def test_colours_of_the_wall_match_the_colour_bar(page, shown):
    """Shading never makes the unstretched wall as dark as the most stretched one in full light."""
    for label in ("Shape at rest", "Cut open"):
        page.page.locator(f"{PATH} label:has-text('{label}')").click()
    set_step(page, 0)
    palest, strongest = scales_of(shown).stretch.colours[[0, -1]]
    picture = page.picture()
    light = picture.sum(axis=2)
    even = maximum_filter(light, 3) - minimum_filter(light, 3) < 36  # not an edge of a thread
    high = len(picture)
    even[: int(0.35 * high)] = even[int(0.65 * high) :] = False
    wall = picture[even & (picture[..., 0] > picture[..., 2] + 5)]
    assert len(wall) > 2000
    assert lightness(wall).min() > lightness(strongest) + 10
    assert np.median(lightness(wall)) == pytest.approx(lightness(palest), abs=8)


def lightness(colours):
    """Return CIE 1976 L* of sRGB colours of 0 to 255 (IEC 61966-2-1, ISO/CIE 11664-4)."""
    share = np.asarray(colours) / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return 116 * np.cbrt(linear @ [0.2126, 0.7152, 0.0722]) - 16


def test_the_light_comes_from_the_upper_left(page):
    """The rim of a plate is round and of one colour: its left side is lighter than its right."""
    page.page.locator(f"{PATH} label:has-text('Shape at rest')").click()
    picture = page.picture()
    bluish = picture[..., 2] > picture[..., 0] + 8
    across = np.nonzero(bluish[len(picture) // 2 :])[1]
    left, right = across.min(), across.max()
    fifth = (right - left) // 5
    low = np.where(bluish, picture.sum(axis=2), 0)[len(picture) // 2 :]
    sides = low[:, left : left + fifth], low[:, right - fifth : right]
    assert np.mean(sides[0][sides[0] > 0]) > np.mean(sides[1][sides[1] > 0]) + 15


def test_a_second_tab_does_not_disturb_the_first(page, tab, address):  # noqa: F811
    before = page.picture()
    other = tab().open(address)
    set_step(other, 0)
    other.page.locator(f"{EXPLORER} input[type=number]").first.fill("-12")
    other.page.locator(f"{PATH} label:has-text('Cut open')").click()
    other.picture()
    assert page.page.locator(f"{PATH} .tw-slide input").input_value() == "2"
    assert page.page.locator(f"{EXPLORER} input[type=number]").first.input_value() == "20"
    assert np.abs(page.picture() - before).max() == 0


def test_every_control_works_by_keyboard(page):
    controls = "a, button:not(:disabled), input, select, [tabindex='0']"
    count = page.page.locator(controls).count()
    page.page.evaluate("document.body.tabIndex = -1; document.body.focus()")
    reached = set()
    for _ in range(count):
        page.page.keyboard.press("Tab")
        reached.add(
            page.page.evaluate(
                f"[...document.querySelectorAll({controls!r})].indexOf(document.activeElement)"
            )
        )
    assert reached == set(range(count))
    page.page.locator(f"{PATH} .tw-slide input").focus()
    page.page.keyboard.press("ArrowLeft")
    assert page.page.locator(f"{PATH} output").text_content() == "1 of 2, 7.5 kPa"
    page.page.locator(f"{PATH} input[type=checkbox]").first.focus()
    page.page.keyboard.press("Space")
    assert page.page.locator(f"{PATH} input[type=checkbox]").first.is_checked()
    page.page.locator(f"{PATH} select").first.focus()
    page.page.keyboard.press("b")  # bulge
    assert "bulge" in page.page.locator(f"{PATH} .tw-chart svg").first.get_attribute("aria-label")


def test_keys_rotate_zoom_and_reset_all_shapes_together(page):
    page.page.locator(f"{PATH} .tw-stage").first.focus()
    before = page.picture(0), page.picture(1)
    page.page.keyboard.press("ArrowUp")
    page.page.keyboard.press("+")
    turned = page.picture(0), page.picture(1)
    page.page.keyboard.press("Home")
    again = page.picture(0), page.picture(1)
    for one, other, back in zip(before, turned, again, strict=True):
        assert (np.abs(other - one).max(axis=2) > 30).mean() > 0.05
        assert np.abs(back - one)[:, :-4].max() == 0


def test_the_slider_is_visible_with_the_shapes_on_a_narrow_screen(tab, address):  # noqa: F811
    opened = tab(390, 700).open(address)
    opened.rest()
    bar = opened.page.locator(f"{PATH} .tw-steps")
    for shape in opened.page.locator(f"{PATH} canvas").all():
        shape.scroll_into_view_if_needed()
        box = bar.bounding_box()
        assert 0 <= box["y"] <= 700 - box["height"] + 1


@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_overflows_or_overlaps(tab, address, width):  # noqa: F811
    opened = tab(width).open(address)
    opened.page.wait_for_selector(f"{EXPLORER} .tw-chart")
    assert opened.layout() == []


@pytest.mark.parametrize("width", WIDTHS)
def test_there_is_no_accessibility_violation(tab, address, width):  # noqa: F811
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="no axe").Axe()
    opened = tab(width).open(address)
    opened.page.wait_for_selector(f"{EXPLORER} .tw-chart")
    found = axe.run(opened.page).response
    assert [(one["id"], one["nodes"][0]["html"]) for one in found["violations"]] == []
    assert len(found["passes"]) > 20  # the checks were run


def test_without_webgl_the_values_are_shown(tab, address):  # noqa: F811
    opened = tab()
    opened.page.add_init_script(NO_WEBGL)
    opened.open(address)
    assert "WebGL 2" in opened.page.locator(f"{PATH} .tw-lost").first.inner_text()
    set_step(opened, 0)
    assert number(opened.column(PATH, 1)["twist_deg"]) == 0
    opened.check()


def test_the_explorer_shows_the_values_of_the_fast_model(page, make_case):
    page.page.wait_for_selector(f"{EXPLORER} tr[data-column]")
    page.page.locator(f"{EXPLORER} input[type=range]").first.fill("10")
    page.page.locator(f"{EXPLORER} input[type=number]").last.fill("12")
    case = make_case(threads__0__angle="10 deg", pressure__end="12 kPa")
    row = solve(case, models=["fast"]).runs[0].rows[-1]
    twist = f"{row['twist_deg']:.2f}"
    page.page.wait_for_selector(f"{EXPLORER} tr[data-column=twist_deg] >> text={twist}")
    found = page.column(EXPLORER, 1)
    assert number(found["displacement_mm"]) == pytest.approx(row["displacement_mm"], abs=1e-3)
    assert number(found["tension_N.A"]) == pytest.approx(row["tension_N.A"], abs=1e-4)
    label = page.page.locator(f"{EXPLORER} .tw-chart svg").first.get_attribute("aria-label")
    assert f"twist {twist}°" in label
    assert "all settings" in page.page.locator(f"{EXPLORER} .tw-keys").inner_text()
    assert "all settings" not in page.page.locator(f"{PATH} .tw-keys").inner_text()


def test_of_many_settings_only_the_newest_is_evaluated(page):
    page.page.wait_for_selector(f"{EXPLORER} tr[data-column]")
    page.page.evaluate(
        """() => {
          const input = document.querySelector("#explorer input[type=range]");
          for (let angle = -30; angle <= 20; angle += 0.5) {
            input.value = angle;
            input.dispatchEvent(new Event("input"));
          }
        }"""
    )
    sent = sum("live/evaluate" in url for url in page.requests)
    page.page.wait_for_timeout(800)
    assert sum("live/evaluate" in url for url in page.requests) - sent <= 2
    # the fast models of the path and of the explorer are then of the same setting
    assert page.column(EXPLORER, 1)["twist_deg"] == page.column(PATH, 2)["twist_deg"]


@pytest.mark.parametrize("typed", ["89.9", "-500", "1e9", ""])
def test_a_number_outside_its_range_is_refused_beside_its_field_and_not_sent(page, typed):
    page.page.wait_for_selector(f"{EXPLORER} tr[data-column]")
    page.rest()
    before = page.column(EXPLORER, 1)
    field = page.page.locator(f"{EXPLORER} input[type=number]").first
    sent = len(page.requests)
    field.fill(typed)
    fault = page.page.locator(f"#{field.get_attribute('aria-describedby')}")
    text = fault.inner_text().replace("\N{MINUS SIGN}", "-").replace("1000000000", "1e+09")
    assert_states(text, "-30° to 30°", f"{float(typed):g}°" if typed else "required")
    assert field.get_attribute("aria-invalid") == "true"
    assert field.input_value() == typed
    page.page.locator(f"{EXPLORER} input[type=range]").last.fill(
        "12"
    )  # another field is changed meanwhile
    page.rest()
    assert len(page.requests) == sent
    assert page.column(EXPLORER, 1) == before
    marks = page.page.locator(f"{EXPLORER} .tw-stale").all_inner_texts()
    assert len(marks) == 2
    for mark in marks:
        text = mark.replace("\N{NO-BREAK SPACE}", " ")
        assert_states(text, "last valid", "A 20.0°, B −30.0°, slack taken up, 15.0 kPa")
    assert page.page.locator(f"{EXPLORER} button:has-text('Solve')").is_disabled()
    field.fill("20")
    page.page.wait_for_selector(f"{EXPLORER} tr[data-column=pressure_kPa] >> text=12.00")
    assert page.page.locator(f"{EXPLORER} .tw-stale").count() == 0


def test_the_page_shows_why_the_server_refuses_a_setting(tab, address):  # noqa: F811
    opened = tab()
    body = '{"error": "no solution: it buckles"}'
    opened.open(address)
    opened.page.wait_for_selector(f"{EXPLORER} tr[data-column]")
    opened.page.route(
        "**/live/evaluate",
        lambda route: route.fulfill(status=200, content_type="application/json", body=body),
    )
    opened.page.locator(f"{EXPLORER} input[type=range]").first.fill("10")
    opened.page.wait_for_selector(f"{EXPLORER} .tw-fault >> text=no solution: it buckles")
    assert "A 20.0°" in opened.page.locator(f"{EXPLORER} .tw-stale").first.inner_text()
    opened.check()


def test_a_finished_fe_solve_can_be_overlaid(page):
    page.page.wait_for_selector(f"{EXPLORER} tr[data-column]")
    page.page.locator(f"{EXPLORER} select").last.select_option("coarse")
    page.page.locator("text=Solve with FE").click()
    page.page.wait_for_selector(f"{EXPLORER} >> text=Done")
    fast, fe = (number(page.column(EXPLORER, k)["twist_deg"]) for k in (1, 2))
    assert fe == pytest.approx(fast, rel=0.25)
    assert fe != fast
    assert page.page.locator(f"{EXPLORER} canvas").count() == 2
    assert page.page.locator(f"{EXPLORER} .tw-over .tw-fe").count() == 1
    beside = page.picture(2), page.picture(3)
    page.page.locator(f"{EXPLORER} label:has-text('Overlay')").click()
    over = page.picture(2), page.picture(3)
    changed = (np.abs(over[0] - beside[0]).max(axis=2) > 30).mean(axis=1)
    assert (changed[len(changed) // 3 : len(changed) // 2] > 0).mean() > 0.9, "along the wall"
    assert np.array_equal(over[1], beside[1])
    page.page.locator(f"{EXPLORER} input[type=range]").first.fill("0")
    page.page.wait_for_selector(f"{EXPLORER} >> text=another setting: A 20.0°")


def test_scenes_embedded_in_a_file_need_no_request(tab, shown, tmp_path):  # noqa: F811
    packed = pack(shown, "Wrist")
    blocks = 3 * scene_block(packed)
    file = tmp_path / "report.html"
    file.write_text(f'<!doctype html><html lang="en"><meta charset="utf-8"><body>{blocks}', "utf-8")
    opened = tab(height=3000)
    opened.page.goto(file.as_uri())
    opened.page.wait_for_function(
        "() => document.querySelectorAll('.tubewright[aria-busy=false]').length === 3"
    )
    assert opened.requests == [file.as_uri()]
    assert opened.faults == []
    ids = opened.page.evaluate("[...document.querySelectorAll('[id]')].map(({ id }) => id)")
    assert len(ids) == len(set(ids)) >= 3
    assert (opened.picture(4) < 250).any(axis=2).mean() > 0.1
    slider = opened.page.locator(".tw-slide input").nth(1)
    slider.fill("0")
    assert opened.page.locator(".tw-slide input").first.input_value() == "2"
    assert opened.page.locator("tr[data-column=twist_deg] td").nth(2).inner_text() == "0.00"
