"""Colour scales of the pictures: ranges, greyscale and colour blindness."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib import colormaps
from PIL import Image, ImageCms

from fem.results.result import Result
from fem.scene.colours import (
    NO_TENSION_INDEX,
    NO_TENSION_RGB,
    scales_of,
    stretch_scale,
    tension_scale,
)
from fem.scene.result_view import result_views


def lab(colours):
    """CIELAB of sRGB colours, shape (n, 3), by the colour management of Pillow (Little CMS)."""
    srgb, to = ImageCms.createProfile("sRGB"), ImageCms.createProfile("LAB")
    change = ImageCms.buildTransform(srgb, to, "RGB", "LAB")
    strip = Image.fromarray(colours[None].astype(np.uint8), "RGB")
    found = np.asarray(ImageCms.applyTransform(strip, change))[0].astype(float)
    signed = found[:, 1:].astype(np.uint8).astype(np.int8)
    return np.column_stack([found[:, 0] / 2.55, signed])


@pytest.mark.parametrize("scale", [stretch_scale(1.5), tension_scale(0.2)])
def test_colours_darken_steadily(scale):
    """The order is visible without hues, as in greyscale."""
    light = lab(scale.colours)[:, 0]
    assert light[0] - light[-1] > 30
    coarse = light[::16]
    assert (np.diff(coarse) < 0).all()
    assert -np.diff(coarse).min() < 3 * -np.diff(coarse).max()


def test_the_two_scales_share_no_colour():
    """All differences exceed a just noticeable difference (2.3, common practice, no source)."""
    wall, threads = lab(stretch_scale(1.5).colours), lab(tension_scale(0.2).colours)
    apart = np.linalg.norm(wall[:, None] - threads[None], axis=2)
    assert apart.min() > 20
    mark = lab(np.array([[193, 18, 31]]))
    assert np.linalg.norm(wall - mark, axis=1).min() > 40


def test_tension_has_the_colours_of_viridis():
    shades = 255 * colormaps["viridis_r"](np.linspace(0.1, 1.0, 256))[:, :3]
    assert np.abs(tension_scale(1.0).colours - shades).max() <= 0.5


def test_colour_indices():
    stretch = stretch_scale(1.5)
    assert stretch.index(np.array([1.0, 1.25, 1.5, 0.9, 2.0])).tolist() == [0, 128, 255, 0, 255]
    tension = tension_scale(0.2)
    values = np.array([0.0, 0.2, np.nan, 0.3])
    assert tension.index(values).tolist() == [0, 254, NO_TENSION_INDEX, 254]
    assert tension.rgb(values)[2].tolist() == list(NO_TENSION_RGB)
    assert tension.rgb(values)[1].tolist() == tension.colours[254].tolist()


def test_ranges_span_all_views(result):
    fe, fast = result_views(result)
    both = scales_of([fe, fast])
    shapes = fe.shapes + fast.shapes
    assert both.stretch.low == 1
    assert both.stretch.high == max(
        shape.stretch[(shape.nodes[:, 2] > 0.1) & (shape.nodes[:, 2] < 59.9)].max()
        for shape in shapes
    )
    assert both.tension.high == max(f.tension.max() for shape in shapes for f in shape.threads)
    assert scales_of([fast]).tension.high < both.tension.high
    assert [scale.quantity for scale in both] == ["stretch", "tension"]


def test_the_range_does_not_depend_on_the_mesh_at_the_plates(result):
    """The stretch at the rim of the bore grows without bound as cells shrink."""
    (fe, _) = result_views(result)
    last = fe.shapes[-1]
    on_plate = (last.nodes[:, 2] < 1e-3) | (last.nodes[:, 2] > 59.999)
    sharp = replace(last, stretch=np.where(on_plate, 9.0, last.stretch))
    blunt, scale = (scales_of([replace(fe, shapes=[one])]).stretch for one in (last, sharp))
    assert scale.high == blunt.high < 1.6
    assert scale.index(sharp.stretch[on_plate]).min() == 255  # the end colour


def test_a_tube_at_rest_and_one_without_threads(result):
    (fe, _) = result_views(result)
    rest = scales_of([replace(fe, shapes=fe.shapes[:1], rows=fe.rows[:1])])
    assert rest.stretch.high == 1.01
    assert rest.tension.high == 1.0
    stiffness = result.case.threads[0].stiffness
    noisy = [replace(t, tension=0 * t.tension + 1e-14 * stiffness) for t in fe.shapes[0].threads]
    round_off = replace(fe, shapes=[replace(fe.shapes[0], threads=noisy)], rows=fe.rows[:1])
    assert scales_of([round_off]).tension.high == 1.0  # round-off is not a tension
    bare_case = result.case.changed(threads=[])
    bare = replace(fe.shapes[1], threads=[])
    scales = scales_of([replace(fe, case=bare_case, shapes=[bare], rows=fe.rows[:1])])
    assert scales.tension is None
    assert [scale.quantity for scale in scales] == ["stretch"]
    assert scales_of(result_views(Result(result.case, []))).stretch.high == 1.01
