"""One window for several pictures, and a ground that is left transparent."""

import numpy as np
import pytest
import pyvista

from fem.scene.offscreen_renderer import OffscreenRenderer, Viewport, actor_of, render

VIEW, SIZE = Viewport(-10, 10, -5, 15), (200, 200)


@pytest.fixture(scope="module")
def layers():
    ball = actor_of(pyvista.Sphere(radius=4, center=(-2, 0, 5)), (0.8, 0.3, 0.1))
    veil = actor_of(pyvista.Sphere(radius=4, center=(3, 0, 5)), (0.1, 0.3, 0.8), opacity=0.4)
    return [ball, veil]


def test_a_window_draws_picture_after_picture(layers):
    with OffscreenRenderer(VIEW, SIZE) as studio:
        pictures = [studio.draw(some) for some in (layers, layers[:1], layers)]
    assert np.array_equal(pictures[0], render(layers, VIEW, SIZE))
    assert np.array_equal(pictures[0], pictures[2])
    assert not np.array_equal(pictures[0], pictures[1])


def test_a_clear_picture_laid_on_white_is_the_white_one(layers):
    """The rule of Porter and Duff for "over" (1984): c = a c1 + (1 - a) c0 (from memory)."""
    with OffscreenRenderer(VIEW, SIZE, clear=True) as studio:
        clear = studio.draw(layers).astype(float)
    cover = clear[..., 3:] / 255
    laid = cover * clear[..., :3] + (1 - cover) * 255
    assert laid == pytest.approx(render(layers, VIEW, SIZE).astype(float), abs=3)
    assert cover[0, 0] == 0
    assert cover[100, 80] == 1
    assert 0.2 < cover[100, 160, 0] < 0.6, "the veil shows the ground through it"
