"""The report in a browser: opened as a file, on wide and narrow screens, and in print."""

import pytest

from fem.report.write import write_report
from tests.helpers.browser import chromium, tab  # noqa: F401 - fixtures

axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")

WIDTHS = (1440, 390)


@pytest.fixture(scope="module")
def file(result, tmp_path_factory):
    """Return the report of a result of both models."""
    folder = tmp_path_factory.mktemp("result")
    result.save(folder)
    return write_report(folder)


@pytest.fixture
def read(tab, file):  # noqa: F811
    """Return a function that opens the page at a width, without a network."""

    def at(width=1440, **options):
        opened = tab(width, 900, offline=True, **options)
        opened.page.goto(file.as_uri())
        return opened

    return at


def shown(opened):
    """Wait until the shapes are there."""
    opened.page.locator("#scene").scroll_into_view_if_needed()
    opened.page.locator("#scene canvas").first.wait_for()


@pytest.mark.parametrize("width", WIDTHS)
def test_the_page_loads_nothing_and_fits_the_screen(read, file, width):
    opened = read(width)
    shown(opened)
    loaded = [url for url in opened.requests if not url.startswith(("data:", "blob:"))]
    assert loaded == [file.as_uri()]
    assert opened.faults == []
    assert opened.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    for head in opened.page.locator("main h2").all():
        box = head.bounding_box()
        assert box["x"] >= 0 and box["x"] + box["width"] <= width


@pytest.mark.parametrize("width", WIDTHS)
def test_frames_that_scroll_can_be_reached_by_keyboard(read, width):
    unreached = read(width).page.evaluate(
        """() => [...document.querySelectorAll("main *")]
            .filter((e) => e.scrollWidth > e.clientWidth + 1
                && ["auto", "scroll"].includes(getComputedStyle(e).overflowX)
                && e.tabIndex < 0)
            .map((e) => e.outerHTML.slice(0, 80))"""
    )
    assert unreached == []


@pytest.mark.parametrize("width", WIDTHS)
def test_there_is_no_accessibility_violation(read, width):
    opened = read(width, bypass_csp=True)
    shown(opened)
    found = axe.Axe().run(opened.page)
    assert found.violations_count == 0, found.generate_report()


def test_in_print_a_picture_replaces_the_shapes(read):
    page = read().page
    page.emulate_media(media="print")
    assert not page.locator("#scene .interactive").is_visible()
    assert page.locator("#scene img").is_visible()
    assert not page.locator("nav").is_visible()
    assert page.locator("thead").first.evaluate("e => getComputedStyle(e).display") == (
        "table-header-group"
    )
    assert page.pdf(prefer_css_page_size=True).startswith(b"%PDF")


def test_without_scripts_the_picture_is_there(read):
    page = read(java_script_enabled=False).page
    assert page.locator("#scene img").is_visible()
    assert not page.locator("#scene .interactive").is_visible()
