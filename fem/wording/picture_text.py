"""Text in pictures: colours, fonts, line breaks; and figures written to files.

matplotlib draws a character that the font lacks as a box and warns. Here another installed font is
tried first, and the warning is switched off.
"""

from __future__ import annotations

import io
import re
import warnings
from bisect import bisect_right
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fem.core.atomic_write import write_bytes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text

DPI = 200
INK = "#222222"
GREY = "#6b6b6b"

DEFAULT_FONT = "DejaVu Sans"
"""The font of all pictures; it comes with matplotlib."""

TITLE_SIZE = 11.5
"""Font size of the bold title (pt)."""

TITLE_LINES = 3
"""Most lines of a title; a longer one ends in an ellipsis."""

USED_SHARE = 0.97
"""Share of a line that is filled: drawn characters are not exactly as wide as designed."""


def write(on: Axes | Figure, x: float, y: float, text: str, **style: Any) -> Text:
    """Write plain text from its upper left corner; a dollar sign in it starts no formula."""
    defaults = {"va": "top", "color": INK, "parse_math": False, "fontfamily": font_families(text)}
    return on.text(x, y, text, **{**defaults, **style})


@lru_cache(maxsize=10_000)
def text_width(text: str, size: float, weight: str = "normal") -> float:
    """Return the width (in) of a line of text of a font size (pt)."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    font = FontProperties(family=font_families(text), weight=weight, size=size)
    with no_glyph_warnings():
        return float(text_to_path.get_text_width_height_descent(text, font, ismath=False)[0]) / 72


def wrapped(
    text: str, width: float, size: float, *, weight: str = "normal", lines: int = 0
) -> list[str]:
    """Return a text in lines no wider than `width` (in).

    A word wider than a line is broken, after a hyphen or underscore if it has one. No word is left
    out unless `lines` limits the number of lines; then the last one ends in an ellipsis.

    Parameters
    ----------
    text
        The text; no line is broken at a no-break space.
    width
        Width of a line (in).
    size, weight
        Size (pt) and weight of the font.
    lines
        Most lines; 0 for no limit.
    """

    def fits(part: str) -> bool:
        return text_width(part, size, weight) <= USED_SHARE * width

    found: list[str] = []
    for word in re.split(r"[ \t\r\n]+", text.strip(" \t\r\n")):
        if found and fits(f"{found[-1]} {word}"):
            found[-1] += f" {word}"
        else:
            found += _pieces(word, USED_SHARE * width, size, weight)
        if 0 < lines < len(found):
            last = found[lines - 1]
            while last and not fits(f"{last} …"):
                last = last[:-1]
            return [*found[: lines - 1], f"{last.rstrip()} …"]
    return found


def _pieces(word: str, width: float, size: float, weight: str) -> Iterator[str]:
    """Yield parts of a word, each no wider than `width` (in) or a single character."""
    while text_width(word, size, weight) > width and len(word) > 1:
        counts = range(1, len(word))
        most = bisect_right(counts, width, key=lambda n: text_width(word[:n], size, weight)) or 1
        cut = max(word.rfind(mark, most // 2, most) for mark in "-_") + 1 or most
        yield word[:cut]
        word = word[cut:]
    yield word


def title_lines(title: str, width: float) -> list[str]:
    """Return a bold title in lines of at most `width` (in)."""
    return wrapped(title, width, TITLE_SIZE, weight="bold", lines=TITLE_LINES)


@contextmanager
def no_glyph_warnings() -> Iterator[None]:
    """Draw without warnings of characters that no font has: the picture shows them as boxes."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph .* missing from", UserWarning)
        yield


def save_figure(figure: Figure, file: Path, **options: Any) -> None:
    """Write a figure, on white, in the format of its file's ending.

    It is drawn in memory first: on a full disk matplotlib raises errors other than OSError.

    Parameters
    ----------
    figure
        The figure.
    file
        File to write, completely or not at all.
    options
        Options of :meth:`matplotlib.figure.Figure.savefig`; they override white and `DPI`.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    drawn = io.BytesIO()
    options = {"dpi": DPI, "facecolor": "white", **options}
    with no_glyph_warnings():
        figure.savefig(drawn, format=file.suffix[1:].lower(), **options)
    write_bytes(file, drawn.getvalue())


def font_families(text: str) -> list[str]:
    """Return the fonts of a text, in the order in which a character is looked up."""
    special = frozenset(one for one in text if not one.isspace() and ord(one) > 0x7F)
    return [DEFAULT_FONT, *_fallback_font(special)] if special else [DEFAULT_FONT]


@cache
def _fallback_font(characters: frozenset[str]) -> tuple[str, ...]:
    """Return the installed font with most of the characters that the default lacks, if any."""
    from matplotlib.font_manager import fontManager

    fonts = {font.name: font.fname for font in fontManager.ttflist if font.style == "normal"}
    missing = {ord(one) for one in characters} - _codes(fonts[DEFAULT_FONT])
    if not missing:
        return ()
    found = {name: len(missing & _codes(file)) for name, file in sorted(fonts.items())}
    best = max(found, key=found.__getitem__)
    return (best,) if found[best] else ()


@cache
def _codes(file: str) -> set[int]:
    """Return the character codes of a font file; none if it cannot be read."""
    from matplotlib.ft2font import FT2Font

    try:
        return set(FT2Font(file).get_charmap())
    except (OSError, RuntimeError):
        return set()
