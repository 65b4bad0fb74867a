"""The page in a browser with software rendering: run `make benchmark`, or this file by itself.

The ready case, both models side by side at 1440 by 900 px, FE on its standard mesh. A slider step
ends when its picture is drawn: a pixel is read back, which waits for the renderer. The same holds
for a move in the live explorer, from the slider through the server to the picture. Nothing is
tested.
"""

import pytest

from fem.case.case import Case
from fem.scene.result_view import result_views
from fem.solving.single import solve
from fem.web.server import make_app
from tests.conftest import CASES
from tests.helpers.browser import chromium, serving, tab  # noqa: F401 - fixtures

READ_BACK = """
  for (const canvas of document.querySelectorAll("#path canvas")) {
    const gl = canvas.getContext("webgl2");
    gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, new Uint8Array(4));
  }"""
STEP = f"""async (step) => {{
  const input = document.querySelector("#path .tw-slide input");
  input.value = step;
  input.dispatchEvent(new Event("input"));
  await Vue.nextTick();
  await new Promise((done) => requestAnimationFrame(done));
  {READ_BACK}
}}"""

MOVE = """async (angle) => {
  const { prototype } = tubewright.Painter;
  const { paint } = prototype;
  const painted = new Promise((done) => {
    prototype.paint = function (...all) {
      paint.apply(this, all);
      if (!this.gl.canvas.closest("#explorer")) return;
      this.gl.readPixels(0, 0, 1, 1, this.gl.RGBA, this.gl.UNSIGNED_BYTE, new Uint8Array(4));
      done();
    };
  });
  const input = document.querySelector("#explorer input[type=range]");
  input.value = angle;
  input.dispatchEvent(new Event("input"));
  await painted;
  prototype.paint = paint;
}"""


@pytest.fixture(scope="module")
def address(chromium):  # noqa: F811
    case = Case.load(CASES / "greenhouse_wrist.toml")
    app = make_app(result_views(solve(case)), case.title, base=case, key="wren")
    with serving(app, "wren/") as found:
        yield found


def test_first_picture(tab, address, benchmark):  # noqa: F811
    benchmark.pedantic(lambda: tab(1440, 900).open(address), rounds=5)


def test_slider_step(tab, address, benchmark):  # noqa: F811
    opened = tab(1440, 900).open(address)
    opened.rest()
    steps = iter([*range(6)] * 10)

    def rest():
        opened.rest()
        return (STEP, next(steps)), {}

    benchmark.pedantic(opened.page.evaluate, setup=rest, rounds=50)


def test_live_move(tab, address, benchmark):  # noqa: F811
    opened = tab(1440, 900).open(address)
    opened.page.wait_for_selector("#explorer .tw-level-0")
    angles = iter(range(-30, 30))

    def rest():
        opened.rest()
        return (MOVE, next(angles)), {}

    benchmark.pedantic(opened.page.evaluate, setup=rest, rounds=50)
