"""Plain text broken into lines by its own width."""

from __future__ import annotations

from functools import lru_cache

from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from fem.wording.picture_text import MOST_LETTERS, wrap


@lru_cache(maxsize=1000)
def fitted(text: str, width: float, size: float, lines: int = 2) -> tuple[str, ...]:
    """Return a text in at most so many lines of `width` (in), by the mean width of its letters."""
    letters = text.strip()[:MOST_LETTERS]
    if not letters:
        return ()
    font = FontProperties(size=size)
    room, _, _ = text_to_path.get_text_width_height_descent(letters, font, False)
    return tuple(wrap(text, max(6, int(0.95 * width * 72 * len(letters) / room)), lines))
