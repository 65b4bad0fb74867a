"""The report in a browser: opened as a file, on a wide and on a narrow screen, and on paper."""

import os
import shutil

import pytest

from fem.show.report.write import write_report

api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")

CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome")
if not CHROMIUM:
    pytest.skip("no Chromium is installed", allow_module_level=True)

SOFTWARE = ["--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--disable-dev-shm-usage"]
WIDTHS = (1440, 390)


@pytest.fixture(scope="module")
def browser():
    as_root = ["--no-sandbox"] if os.geteuid() == 0 else []
    with api.sync_playwright() as play:
        found = play.chromium.launch(executable_path=CHROMIUM, args=[*SOFTWARE, *as_root])
        yield found
        found.close()


@pytest.fixture(scope="module")
def file(result, tmp_path_factory):
    """Return the report of a result of both models."""
    folder = tmp_path_factory.mktemp("result")
    result.save(folder)
    return write_report(folder)


@pytest.fixture(params=WIDTHS)
def opened(request, browser, file):
    """Return the page at one width, what it asked for, and what its console said."""
    page = browser.new_page(
        viewport={"width": request.param, "height": 900}, bypass_csp=False, offline=True
    )
    asked, said = [], []
    page.on("request", lambda found: asked.append(found.url))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(file.as_uri())
    yield page, asked, said
    page.close()


def test_it_opens_by_itself_and_fits(opened, file):
    page, asked, said = opened
    scene = page.locator("#scene")
    scene.scroll_into_view_if_needed()
    page.locator("#scene canvas").first.wait_for(timeout=15_000)
    assert [url for url in asked if not url.startswith(("data:", "blob:"))] == [file.as_uri()]
    assert said == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    for head in page.locator("main h2").all():
        box = head.bounding_box()
        assert box["x"] >= 0 and box["x"] + box["width"] <= page.viewport_size["width"]


def test_frames_that_move_are_reached_by_keyboard(opened):
    page, _, _ = opened
    unreached = page.evaluate(
        """() => [...document.querySelectorAll("main *")]
            .filter((e) => e.scrollWidth > e.clientWidth + 1
                && ["auto", "scroll"].includes(getComputedStyle(e).overflowX)
                && e.tabIndex < 0)
            .map((e) => e.outerHTML.slice(0, 80))"""
    )
    assert unreached == []


@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_hinders_anybody(browser, file, width):
    page = browser.new_page(viewport={"width": width, "height": 900}, bypass_csp=True)
    page.goto(file.as_uri())
    page.locator("#scene").scroll_into_view_if_needed()
    page.locator("#scene canvas").first.wait_for(timeout=15_000)
    found = axe.Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    page.close()


def test_on_paper_a_picture_stands_for_the_shapes(browser, file):
    page = browser.new_page()
    page.goto(file.as_uri())
    page.emulate_media(media="print")
    assert not page.locator("#scene .turn").is_visible()
    assert page.locator("#scene img").is_visible()
    assert not page.locator("nav").is_visible()
    assert page.locator("thead").first.evaluate("e => getComputedStyle(e).display") == (
        "table-header-group"
    )
    assert page.pdf(prefer_css_page_size=True).startswith(b"%PDF")
    page.close()


def test_without_scripts_the_picture_is_there(browser, file):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(file.as_uri())
    assert page.locator("#scene img").is_visible()
    assert not page.locator("#scene .turn").is_visible()
    context.close()
