"""Off-screen rendering: several pictures in one window, and a transparent background."""

import numpy as np
import pytest
import pyvista

from fem.scene.offscreen_renderer import OffscreenRenderer, Viewport, actor_of, render

VIEW, SIZE = Viewport(-10, 10, -5, 15), (200, 200)


@pytest.fixture(scope="module")
def layers():
    ball = actor_of(pyvista.Sphere(radius=4, center=(-2, 0, 5)), (0.8, 0.3, 0.1))
    translucent = actor_of(pyvista.Sphere(radius=4, center=(3, 0, 5)), (0.1, 0.3, 0.8), opacity=0.4)
    return [ball, translucent]


def test_one_renderer_draws_several_pictures(layers):
    with OffscreenRenderer(VIEW, SIZE) as renderer:
        pictures = [renderer.draw(some) for some in (layers, layers[:1], layers)]
    assert np.array_equal(pictures[0], render(layers, VIEW, SIZE))
    assert np.array_equal(pictures[0], pictures[2])
    assert not np.array_equal(pictures[0], pictures[1])


def test_a_transparent_picture_on_white_is_the_white_picture(layers):
    """The rule of Porter and Duff for "over" (1984): c = a c1 + (1 - a) c0 (from memory)."""
    with OffscreenRenderer(VIEW, SIZE, transparent=True) as renderer:
        picture = renderer.draw(layers).astype(float)
    cover = picture[..., 3:] / 255
    composed = cover * picture[..., :3] + (1 - cover) * 255
    assert composed == pytest.approx(render(layers, VIEW, SIZE).astype(float), abs=3)
    assert cover[0, 0] == 0
    assert cover[100, 80] == 1
    assert 0.2 < cover[100, 160, 0] < 0.6  # the translucent sphere
