"""Pictures as parts of the page: plots as SVG with text as text, rendered scenes as PNG."""

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

MAX_SVG_BYTES = 250_000
"""A larger SVG (bytes), as of a map with thousands of points, is replaced by a PNG."""

PNG_DPI = 150
"""Resolution of such a PNG (dots per inch)."""

CSS_INCH = 96
"""Pixels of a page to an inch."""

PNG_COLOURS = 128
"""Colours of such a PNG: a map has a dozen bands of colour, plus their smoothed edges."""


class Picture(NamedTuple):
    """A picture of the page.

    Attributes
    ----------
    markup
        The element.
    caption
        Description of the content.
    width, ratio
        Width at which the text has its designed size (px), and width divided by height.
    """

    markup: Markup
    caption: str
    width: int
    ratio: float

    @property
    def style(self) -> str:
        """The CSS of its width on the page and its aspect ratio."""
        return f"width:{self.width}px;--ratio:{self.ratio:.4g}"


def picture(figure: Figure, caption: str) -> Picture:
    """Return a figure as part of the page."""
    text = _svg(figure)
    width, height = (float(_found(rf'{side}="([0-9.]+)pt"', text)) for side in ("width", "height"))
    size = round(width * CSS_INCH / 72), width / height
    if len(text) <= MAX_SVG_BYTES:
        opening = f'<svg role="img" aria-label="{escape(caption)}"'
        return Picture(Markup(text.replace("<svg", opening, 1)), caption, *size)
    file = io.BytesIO()
    figure.savefig(file, format="png", dpi=PNG_DPI, facecolor="white")
    return Picture(_image(_fewer_colours(file.getvalue()), caption), caption, *size)


def image(file: Path, caption: str, dpi: float) -> Picture:
    """Return a PNG file of `dpi` dots per inch as part of the page.

    Raises
    ------
    OSError
        If it cannot be read or is not a PNG file.
    """
    from PIL import Image

    with Image.open(file, formats=["PNG"]) as found:
        width, height = found.size
    return Picture(
        _image(file.read_bytes(), caption), caption, round(width * CSS_INCH / dpi), width / height
    )


def drawn(draw: Callable[[Path], None], caption: str, dpi: float) -> Picture:
    """Return the picture that `draw` writes to a file, of `dpi` dots per inch.

    Raises
    ------
    OSError
        If this machine cannot draw it.
    """
    from tempfile import TemporaryDirectory

    with TemporaryDirectory() as folder:
        file = Path(folder) / "picture.png"
        draw(file)
        return image(file, caption, dpi)


def _svg(figure: Figure) -> str:
    """Return a figure as an SVG element without the ids of its groups.

    Several figures on a page would have the same ids.
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


def _fewer_colours(png: bytes) -> bytes:
    from PIL import Image

    file = io.BytesIO()
    with Image.open(io.BytesIO(png)) as full:
        few = full.convert("RGB").quantize(PNG_COLOURS, dither=Image.Dither.NONE)
    few.save(file, format="PNG", optimize=True)
    return file.getvalue()
