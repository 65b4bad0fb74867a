"""Pictures as parts of the page: figures as SVG whose letters stay letters, rendered ones PNG."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from markupsafe import Markup, escape
from matplotlib import rc_context

if TYPE_CHECKING:
    from matplotlib.figure import Figure

HEAVIEST = 250_000
"""An SVG of more bytes, as of a map with thousands of points, becomes a PNG."""

SHARP = 150
"""Resolution of such a PNG (dots per inch)."""

CSS_INCH = 96
"""Pixels of a page to an inch."""

FEW_COLOURS = 128
"""Maps have a dozen bands of colour; so many more do for the softened edges between them."""


class Picture(NamedTuple):
    """A picture of the page.

    Attributes
    ----------
    markup
        The element.
    caption
        What it shows, in words.
    width, ratio
        Width at which its letters have their true size (px), and its share of the height.
    """

    markup: Markup
    caption: str
    width: int
    ratio: float

    @property
    def style(self) -> str:
        """How wide it is on the page, and what its height follows from."""
        return f"width:{self.width}px;--ratio:{self.ratio:.4g}"


def picture(figure: Figure, caption: str) -> Picture:
    """Return a figure as part of the page."""
    text = _svg(figure)
    width, height = (float(_found(rf'{side}="([0-9.]+)pt"', text)) for side in ("width", "height"))
    size = round(width * CSS_INCH / 72), width / height
    if len(text) <= HEAVIEST:
        opening = f'<svg role="img" aria-label="{escape(caption)}"'
        return Picture(Markup(text.replace("<svg", opening, 1)), caption, *size)
    file = io.BytesIO()
    figure.savefig(file, format="png", dpi=SHARP, facecolor="white")
    return Picture(_image(_few_colours(file.getvalue()), caption), caption, *size)


def image(file: Path, caption: str, dpi: float) -> Picture:
    """Return a PNG file of `dpi` dots per inch as part of the page.

    Raises
    ------
    OSError
        If it cannot be read, or is no such picture.
    """
    from PIL import Image

    with Image.open(file, formats=["PNG"]) as found:
        width, height = found.size
    return Picture(
        _image(file.read_bytes(), caption), caption, round(width * CSS_INCH / dpi), width / height
    )


def drawn(draw: Callable[[Path], None], caption: str, dpi: float) -> Picture:
    """Return what `draw` writes into a file, of `dpi` dots per inch, as part of the page.

    Raises
    ------
    OSError
        If it cannot be drawn here.
    """
    from tempfile import TemporaryDirectory

    with TemporaryDirectory() as folder:
        file = Path(folder) / "picture.png"
        draw(file)
        return image(file, caption, dpi)


def _svg(figure: Figure) -> str:
    """Return a figure as an SVG element without the names of its groups, which nothing uses.

    Several figures on a page would use the same.
    """
    file = io.StringIO()
    with rc_context({"svg.fonttype": "none"}):
        figure.savefig(file, format="svg", metadata={"Date": None})
    text = file.getvalue()
    text = re.sub(r"<metadata>.*?</metadata>", "", text[text.index("<svg") :], flags=re.DOTALL)
    return re.sub(r'<g id="[^"]*"', "<g", text)


def _found(pattern: str, text: str) -> str:
    match = re.search(pattern, text)
    assert match, f"matplotlib's SVG has no {pattern}"
    return match[1]


def _image(png: bytes, caption: str) -> Markup:
    data = base64.b64encode(png).decode()
    return Markup('<img src="data:image/png;base64,{}" alt="{}">').format(data, caption)


def _few_colours(png: bytes) -> bytes:
    from PIL import Image

    file = io.BytesIO()
    with Image.open(io.BytesIO(png)) as full:
        few = full.convert("RGB").quantize(FEW_COLOURS, dither=Image.Dither.NONE)
    few.save(file, format="PNG", optimize=True)
    return file.getvalue()
