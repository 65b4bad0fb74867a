"""For tests of pages: a real Chromium with software rendering, its requests and its errors.

A test module that uses it imports its fixtures: ``from tests.helpers.browser import chromium``.
"""

import asyncio
import io
import os
import shutil
import threading
from contextlib import contextmanager

import numpy as np
import pytest
from aiohttp import web
from PIL import Image

from fem.web.server import listen

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
FLAGS = [
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
]
SETTLED = 200
"""An idle picture has smooth edges after this time (ms)."""
TIME_LIMIT = 60e3
"""Time limit (ms)."""

OVERLAPS = """() => {
  const seen = [...document.querySelectorAll("body *")].filter((one) =>
    one.checkVisibility({ visibilityProperty: true }) &&
    !one.closest("[aria-hidden=true], .tw-scale, noscript, option") &&
    (one.matches("button, input, select, canvas, progress") ||
      [...one.childNodes].some((node) => node.nodeType === 3 && node.data.trim())));
  const boxes = seen.flatMap((one) => {
    const range = document.createRange();
    range.selectNodeContents(one);
    const rects = one.childNodes.length && !one.matches("button, select") ?
      range.getClientRects() : one.getClientRects();
    return [...rects].filter((box) => box.width && box.height).map((box) => ({ one, box }));
  });
  const text = (one) => `${one.tagName}.${one.className.baseVal ?? one.className} "` +
    `${one.textContent.slice(0, 30)}"`;
  const found = [];
  boxes.forEach(({ one, box }, k) => boxes.slice(k + 1).forEach(({ one: two, box: other }) => {
    if (one.contains(two) || two.contains(one)) return;
    const across = Math.min(box.right, other.right) - Math.max(box.left, other.left);
    const along = Math.min(box.bottom, other.bottom) - Math.max(box.top, other.top);
    if (across > 1 && along > 3) found.push(`${text(one)} over ${text(two)}`);
  }));
  return found;
}"""
"""Texts and controls that overlap others by more than 3 px; line boxes are taller than letters."""

FLOAT = """for (const bar of document.querySelectorAll(".tw-steps")) bar.style.position = """
"""The floating bar of the slider covers other parts; in its static position it must not."""

BEYOND = """() => [...document.querySelectorAll("body *")]
  .filter((one) => one.checkVisibility() && !one.closest(".tw-scroll, [tabindex] *"))
  .filter((one) => {
    const box = one.getBoundingClientRect();
    return box.width && (box.right > innerWidth + 1 || box.left < -1);
  })
  .map((one) => `${one.tagName}.${one.className.baseVal ?? one.className} beyond a side`)"""
"""Elements beyond the sides of the window."""


class Tab:
    """A tab of the browser, with its requests and errors."""

    def __init__(self, page):
        self.page = page
        self.faults, self.requests = [], []
        page.set_default_timeout(TIME_LIMIT)
        page.on("console", self._listen)
        page.on("pageerror", lambda error: self.faults.append(str(error)))
        page.on("request", lambda request: self.requests.append(request.url))

    def _listen(self, message):
        if message.type in ("error", "warning"):
            self.faults.append(message.text)

    def open(self, address):
        """Go to a page and wait for its first picture."""
        self.page.goto(address)
        self.drawn()
        return self

    def drawn(self):
        """Wait until a picture is drawn."""
        self.page.wait_for_selector(".tubewright[aria-busy=false]")

    def rest(self):
        """Wait until the pictures are idle."""
        self.page.wait_for_timeout(SETTLED)

    def layout(self):
        """Return the elements beyond the sides of the window, or over others."""
        self.rest()
        wide = self.page.evaluate("document.documentElement.scrollWidth - innerWidth")
        found = [f"scrolls sideways by {wide} px"] if wide > 0 else []
        self.page.evaluate(f"() => {{ {FLOAT} 'static' }}")
        found += self.page.evaluate(BEYOND) + self.page.evaluate(OVERLAPS)
        self.page.evaluate(f"() => {{ {FLOAT} '' }}")
        return found

    def picture(self, number=0):
        """Return a picture of a shape, shape (height, width, 3), as the screen shows it."""
        self.rest()
        found = self.page.locator("canvas").nth(number).screenshot()
        return np.asarray(Image.open(io.BytesIO(found)).convert("RGB")).astype(int)

    def column(self, table, number):
        """Return a column of a table of values, counted from 1: texts by names of quantities."""
        rows = self.page.locator(f"{table} tr[data-column]").all()
        return {
            row.get_attribute("data-column"): row.locator("td").nth(number - 1).inner_text()
            for row in rows
        }

    def check(self, host="127.0.0.1"):
        """Check that there were no requests to other machines, and no errors."""
        elsewhere = [
            url for url in self.requests if not url.startswith((f"http://{host}:", "data:"))
        ]
        assert not elsewhere
        assert not self.faults


@pytest.fixture(scope="module")
def chromium():
    """Return a browser; it ends with the module, because its event loop must be the only one."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = next(filter(None, map(shutil.which, NAMES)), None)
    if path is None:
        pytest.skip("no Chromium on this machine")
    flags = [*FLAGS, "--no-sandbox"] if os.geteuid() == 0 else FLAGS
    with playwright.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=flags)
        yield browser
        browser.close()


@pytest.fixture
def tab(chromium):
    """Return a function that opens a new tab, each in a separate session."""
    contexts = []

    def new(width=1024, height=640, **options):
        context = chromium.new_context(viewport={"width": width, "height": height}, **options)
        contexts.append(context)
        return Tab(context.new_page())

    yield new
    for context in contexts:
        context.close()


@contextmanager
def serving(app, root=""):
    """Serve an application from a thread; the value is its address."""
    loop = asyncio.new_event_loop()
    thread = threading.Thread(target=loop.run_forever)
    thread.start()

    def run(work):
        return asyncio.run_coroutine_threadsafe(work, loop).result()

    runner, port = web.AppRunner(app), listen(None)
    try:
        run(runner.setup())
        run(web.SockSite(runner, port).start())
        yield f"http://127.0.0.1:{port.getsockname()[1]}/{root}"
    finally:
        run(runner.cleanup())
        loop.call_soon_threadsafe(loop.stop)
        thread.join()
        loop.close()
