"""What the pictures share: resolution, ink, lettering, and plain text broken into lines."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

from fem.wording.glyphs import families, quiet_glyphs

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text

DPI = 200
INK = "#222222"
GREY = "#6b6b6b"

TITLE_SIZE = 11.5
"""Size of the bold letters of a title (pt)."""

MOST_LETTERS = 400
"""Letters of a title that can show at all."""


def write(on: Axes | Figure, x: float, y: float, text: str, **style: Any) -> Text:
    """Print plain text from its upper left corner; a dollar sign in it starts no formula."""
    usual = {"va": "top", "color": INK, "parse_math": False, "fontfamily": families(text)}
    return on.text(x, y, text, **{**usual, **style})


def wrap(text: str, width: int, lines: int = 3) -> list[str]:
    """Return `text` in at most so many lines of at most `width` characters."""
    return textwrap.wrap(text, width, max_lines=lines, placeholder=" …") or [""]


def shortened(name: str, most: int = 9) -> str:
    """Return a name of at most so many characters, cut in its middle if need be."""
    return name if len(name) <= most else f"{name[: most - 4]}…{name[-3:]}"


def text_width(text: str, size: float, weight: str = "normal") -> float:
    """Return the width of a line of text in letters of a size (pt); in inches."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    plain = text.replace("$", "S")  # a dollar would start a formula
    font = FontProperties(family=families(text), weight=weight)
    with quiet_glyphs():
        path = TextPath((0, 0), plain, size=size, prop=font)
    return float(path.get_extents().width) / 72 if plain.strip() else 0.0


def title_lines(title: str, width: float) -> list[str]:
    """Return a title in lines of about `width` (in), by the mean width of its own letters."""
    letters = title.strip()[:MOST_LETTERS]
    if not letters:
        return [""]
    mean = text_width(letters, TITLE_SIZE, "bold") / len(letters)
    return wrap(title, max(8, int(0.93 * width / mean)))
