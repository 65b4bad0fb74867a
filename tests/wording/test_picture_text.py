"""Text in pictures: complete words, ellipsis of long text, fonts of all characters."""

import warnings

import numpy as np
import pytest
from matplotlib import get_data_path
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ft2font import FT2Font

from fem.scene.still.path import path_page
from fem.wording.picture_text import (
    DEFAULT_FONT,
    font_families,
    save_figure,
    text_width,
    title_lines,
    wrapped,
    write,
)
from tests.helpers.pictures import titled

TEXTS = [
    "slack 5 %",
    "A, +20°, 12 threads, sliding, slack 5 %, cut at 30 deg",
    "slack of a-name-of-just_thirty-two_letter: 12.5 % at 3 mL added, 15 to 30 kPa",
    "W" * 60,
    "膜の管のねじれと伸び, Привет",
    "costs $5 and $6",
]


@pytest.mark.parametrize("text", TEXTS)
@pytest.mark.parametrize("width", [0.3, 0.8, 1.7, 9.0])
def test_no_word_is_left_out(text, width):
    lines = wrapped(text, width, 9)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    for line in lines:
        assert text_width(line, 9) <= width or len(line) == 1
    words = [word for word in text.split() if text_width(word, 9) < 0.9 * width]
    assert set(words) <= set(" ".join(lines).split())  # words that fit are not broken


@pytest.mark.parametrize("text", TEXTS)
def test_the_width_of_a_line_is_that_of_the_drawn_text(text):
    figure = Figure(figsize=(9, 1), dpi=200)
    canvas = FigureCanvasAgg(figure)
    drawn = write(figure, 0, 1, text, size=9).get_window_extent(canvas.get_renderer())
    assert text_width(text, 9) == pytest.approx(drawn.width / 200, rel=0.03)


def test_text_that_does_not_fit_ends_in_an_ellipsis():
    """At each width: a full line loses a word, or characters, for the ellipsis."""
    for width in np.linspace(0.4, 4, 40):
        lines = wrapped("one, two, three, four, " * 14, width, 9, lines=2)
        assert len(lines) == 2 and lines[-1].endswith("…")
        assert text_width(lines[-1], 9) <= width


def test_a_long_title_ends_in_an_ellipsis():
    assert title_lines("W" * 400, 6.0)[-1].endswith("…")
    assert title_lines("A short title", 6.0) == ["A short title"]


def test_no_line_is_broken_at_a_no_break_space():
    lines = wrapped("+20°, 12\N{NO-BREAK SPACE}threads", text_width("+20°, 12 ", 9) * 1.2, 9)
    assert lines == ["+20°,", "12\N{NO-BREAK SPACE}threads"]


def test_a_character_that_no_font_has_gives_no_warning(result, tmp_path):
    """It is in a private area of Unicode, which fonts need not have."""
    page = path_page(titled(result, "Wrist \U0010fffd \ue0ff"))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        save_figure(page.page_figure(40).figure, tmp_path / "page.png")


def test_a_fallback_font_has_what_the_default_lacks():
    """The fonts come with matplotlib and are read by its own reader."""
    folder = f"{get_data_path()}/fonts/ttf"
    default, other = (
        set(FT2Font(f"{folder}/{name}.ttf").get_charmap()) for name in ("DejaVuSans", "STIXGeneral")
    )
    letter = chr(min(code for code in other - default if code < 0xE000))
    found = font_families(f"plain {letter}")
    assert found[0] == DEFAULT_FONT and len(found) == 2
    assert font_families("plain, −5 °") == [DEFAULT_FONT]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        figure = Figure()
        write(figure, 0.1, 0.9, letter)
        figure.canvas.draw()
    assert text_width(letter, 9) > 0
