"""Letters that the usual font lacks: another font has them, or boxes stand for them, in silence."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fem.core.atomic_write import in_place_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

USUAL = "DejaVu Sans"
"""The font of all pictures; it comes with matplotlib."""


@contextmanager
def quiet_glyphs() -> Iterator[None]:
    """Draw in silence: a box in the picture says enough of a letter that no font has."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph .* missing from", UserWarning)
        yield


def save_figure(figure: Figure, file: Path, **options: Any) -> None:
    """Write a figure in the format of its file's ending.

    It is drawn into memory first: matplotlib's own way to a full disk ends in other errors.

    Parameters
    ----------
    figure
        The figure.
    file
        To be written, whole or not at all.
    options
        Those of :meth:`matplotlib.figure.Figure.savefig`.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    drawn = io.BytesIO()
    with in_place_of(file) as part:
        with quiet_glyphs():
            figure.savefig(drawn, format=file.suffix[1:].lower(), **options)
        part.write_bytes(drawn.getvalue())


def families(text: str) -> list[str]:
    """Return the fonts that a text is written in, in the order in which a letter is looked for."""
    lacking = frozenset(letter for letter in text if not letter.isspace() and ord(letter) > 0x7F)
    return [USUAL, *_others(lacking)] if lacking else [USUAL]


@cache
def _others(letters: frozenset[str]) -> tuple[str, ...]:
    """Return the installed font that has most of the letters which the usual one lacks, if any."""
    from matplotlib.font_manager import fontManager

    fonts = {font.name: font.fname for font in fontManager.ttflist if font.style == "normal"}
    lacking = {ord(letter) for letter in letters} - _known(fonts[USUAL])
    if not lacking:
        return ()
    has = {name: len(lacking & _known(file)) for name, file in sorted(fonts.items())}
    best = max(has, key=has.__getitem__)
    return (best,) if has[best] else ()


@cache
def _known(file: str) -> set[int]:
    """Return the letters that a font file has; none if it cannot be read."""
    from matplotlib.ft2font import FT2Font

    try:
        return set(FT2Font(file).get_charmap())
    except (OSError, RuntimeError):
        return set()
