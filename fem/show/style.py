"""What the pictures share: resolution, ink, and plain text broken into lines."""

from __future__ import annotations

import textwrap

from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

DPI = 200
INK = "#222222"
GREY = "#6b6b6b"
SLACK = "#5c5c5c"
MARK = "#c1121f"

TITLE_SIZE = 11.5
"""Size of the bold letters of a title (pt)."""

MOST_LETTERS = 400
"""Letters of a title that can show at all."""


def wrap(text: str, width: int, lines: int = 3) -> list[str]:
    """Return `text` in at most so many lines of at most `width` characters."""
    return textwrap.wrap(text, width, max_lines=lines, placeholder=" …") or [""]


def shortened(name: str, most: int = 9) -> str:
    """Return a name of at most so many characters, cut in its middle if need be."""
    return name if len(name) <= most else f"{name[: most - 4]}…{name[-3:]}"


def title_lines(title: str, width: float) -> list[str]:
    """Return a title in lines of about `width` (in), by the mean width of its own letters."""
    letters = title.strip()[:MOST_LETTERS].replace("$", "S")  # a dollar would start a formula
    if not letters:
        return [""]
    path = TextPath((0, 0), letters, size=TITLE_SIZE, prop=FontProperties(weight="bold"))
    mean = path.get_extents().width / 72 / len(letters)
    return wrap(title, max(8, int(0.93 * width / mean)))
