"""A study on the page, in a real browser: choice of a setting, its shapes."""

import pytest

from fem.core.processes import WorkerPool
from fem.study.job_list import JobList
from fem.study.plan import Study
from fem.study.runner import run
from fem.web.server import make_app
from fem.web.study import StudyHandler
from tests.helpers.browser import chromium, serving, tab  # noqa: F401 - fixtures

STUDY, PATH = "#study", "#path"
PLAN = {
    "title": "Brief reach",
    "case": "greenhouse_wrist.toml",
    "models": ["fast"],
    "set": {"pressure.steps": 2},
    "vary": [
        {"field": "threads.A.angle", "values": ["0 deg", "10 deg", "20 deg"]},
        {"field": "threads.B.angle", "values": ["0 deg", "-30 deg"]},
    ],
}


@pytest.fixture(scope="module")
def handler(cases_folder, tmp_path_factory):
    folder = tmp_path_factory.mktemp("study")
    study_result = run(JobList.of(Study.parse(PLAN, cases_folder)), folder, WorkerPool(1))
    study_result.save(folder)
    return StudyHandler(folder)


@pytest.fixture(scope="module")
def address(handler, chromium):  # noqa: F811 - where there is no browser, none is served
    app = make_app(handler.first(), handler.title, base=handler.base, key="wren", study=handler)
    with serving(app, "wren/") as found:
        yield found


@pytest.fixture
def page(tab, address):  # noqa: F811
    """Return a tab that shows the study; its requests are checked at the end."""
    opened = tab().open(address)
    opened.page.wait_for_selector(f"{STUDY} circle")
    yield opened
    opened.check()


def twist_of(handler, *values):
    """Return the twist of a setting at the last step, as the page shows it."""
    settings = handler.data()["settings"]
    key = next(one["key"] for one in settings if one["values"] == list(values))
    return f"{handler.views(key)[0].rows[-1]['twist_deg']:.2f}".replace("-", "\N{MINUS SIGN}")


def test_a_setting_can_be_chosen_by_its_values(page, handler):
    before = page.picture()
    page.page.locator(f"{STUDY} select").nth(0).select_option(label="20°")
    page.page.locator(f"{STUDY} select").nth(1).select_option(label="−30°")
    twist = twist_of(handler, 20.0, -30.0)
    page.page.wait_for_selector(f"{PATH} tr[data-column=twist_deg] >> text={twist}")
    assert "A 20°" in page.page.locator(f"{STUDY} [role=status]").inner_text()
    assert abs(page.picture() - before).max() > 30


def test_a_setting_can_be_chosen_by_a_click_on_its_point(page, handler):
    """Of these settings, the one at 20 and 0 deg has the greatest twist."""
    settings = handler.data()["settings"]
    points = handler.data()["reach"]["models"]["fast"]
    top = max(range(len(points)), key=lambda k: points[k][1])
    chart = page.page.locator(f"{STUDY} svg").first
    dots = page.page.locator(f"{STUDY} .tw-dots").first.get_attribute("d")
    x, y = (float(one) for one in dots.split("M")[1:][top].removesuffix("h0").split())
    chart.click(position={"x": x + 3, "y": y})
    twist = twist_of(handler, *settings[top]["values"])
    page.page.wait_for_selector(f"{PATH} tr[data-column=twist_deg] >> text={twist}")
    ring = page.page.locator(f"{STUDY} .tw-over circle")
    assert float(ring.get_attribute("cx")) == pytest.approx(x, abs=0.1)


@pytest.mark.parametrize("width", [390, 1440])
def test_nothing_overflows_or_overlaps(tab, address, width):  # noqa: F811
    opened = tab(width).open(address)
    opened.page.wait_for_selector(f"{STUDY} circle")
    assert opened.layout() == []


def test_there_is_no_accessibility_violation(page):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="no axe").Axe()
    found = axe.run(page.page).response
    assert [(one["id"], one["nodes"][0]["html"]) for one in found["violations"]] == []
