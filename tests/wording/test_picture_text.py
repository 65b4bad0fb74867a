"""Text broken into lines: every word stays, and what has no room ends in an ellipsis."""

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from fem.wording.picture_text import text_width, title_lines, wrapped, write

TEXTS = [
    "slack 5 %",
    "A, +20°, 12 threads, gliding, slack 5 %, cut at 30 deg",
    "slack of a-name-of-just_thirty-two_letter: 12.5 % at 3 mL pushed in, 15 to 30 kPa",
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
    assert set(words) <= set(" ".join(lines).split()), "what fits in a line is not broken"


@pytest.mark.parametrize("text", TEXTS)
def test_the_width_of_a_line_is_that_of_the_drawn_letters(text):
    figure = Figure(figsize=(9, 1), dpi=200)
    canvas = FigureCanvasAgg(figure)
    drawn = write(figure, 0, 1, text, size=9).get_window_extent(canvas.get_renderer())
    assert text_width(text, 9) == pytest.approx(drawn.width / 200, rel=0.03)


def test_a_text_without_room_ends_in_an_ellipsis():
    """At every width: a line that is full has to give up a word, or letters, for it."""
    for width in np.linspace(0.4, 4, 40):
        lines = wrapped("one two three, four five six " * 10, width, 9, lines=2)
        assert len(lines) == 2 and lines[-1].endswith("…")
        assert text_width(lines[-1], 9) <= width


def test_a_title_of_many_letters_ends_in_an_ellipsis():
    assert title_lines("W" * 400, 6.0)[-1].endswith("…")
    assert title_lines("A title of few letters", 6.0) == ["A title of few letters"]


def test_a_no_break_space_stays():
    lines = wrapped("+20°, 12\N{NO-BREAK SPACE}threads", text_width("+20°, 12 ", 9) * 1.2, 9)
    assert lines == ["+20°,", "12\N{NO-BREAK SPACE}threads"]
