"""Colour scales: the range they cover, greyscale and colour blindness."""

import numpy as np
import pytest
from matplotlib.colors import to_rgba

from fem.plots.scale import scale_of


def luminance(colour):
    """Relative luminance of a colour (IEC 61966-2-1, the sRGB standard)."""
    rgb = np.asarray(to_rgba(colour)[:3])
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def test_signed_colours_darken_from_a_white_zero_and_differ_in_blue():
    """Red-green blindness leaves blue and yellow distinct (common knowledge, no source)."""
    scale = scale_of("twist [deg]", [-90, 90], signed=True)
    shades = [luminance(colour) for colour in scale.colours]
    middle = len(shades) // 2
    assert scale.bounds[middle - 1] == -scale.bounds[middle]
    assert shades[middle] > 0.9
    assert np.all(np.diff(shades[: middle + 1]) > 0)
    assert np.all(np.diff(shades[middle:]) < 0)
    negative, positive = scale.colours[1], scale.colours[-2]
    assert negative[2] > negative[:2].max() and positive[2] < positive[:2].min()


@pytest.mark.parametrize("values", [(-30, 90), (-90, 10), (0, 5), (-5, 0)])
def test_zero_is_white_for_uneven_values(values):
    uneven = scale_of("", values, signed=True)
    assert max(luminance(colour) for colour in uneven.colours) > 0.9
    white = np.argmax([luminance(colour) for colour in uneven.colours[1:-1]])
    assert uneven.bounds[white] < 0 < uneven.bounds[white + 1]


def test_unsigned_colours_darken_with_the_value():
    scale = scale_of("bulge [mm]", [0, 3], signed=False)
    assert np.all(np.diff([luminance(colour) for colour in scale.colours]) < 0)


@pytest.mark.parametrize("signed", [True, False])
@pytest.mark.parametrize(("low", "high"), [(0, 0), (-3, 7), (2, 2.2), (-5, -1), (1e-9, 0), (3, 3)])
def test_scale_covers_the_values(signed, low, high):
    scale = scale_of("", [low, high, np.nan], signed=signed)
    assert scale.bounds[0] <= low + 1e-8 and high - 1e-8 <= scale.bounds[-1]
    assert scale.extend == "neither"
    assert np.all(np.diff(scale.bounds) > 0)
    if signed:
        assert scale.bounds[0] < 0 < scale.bounds[-1]


def test_outliers_are_left_out_but_a_limit_never():
    values = [*np.linspace(0, 10, 200), 500, 600]
    scale = scale_of("", values, signed=False)
    assert scale.bounds[-1] == pytest.approx(10, abs=2)
    assert (scale.extend, scale.span) == ("max", (0, 600))
    limited = scale_of("", values, signed=False, limit=100)
    assert 100 in limited.bounds[:-1]
