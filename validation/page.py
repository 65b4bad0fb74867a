"""The book as one page that needs nothing else: text with its formulas, pictures, tables."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from importlib.metadata import version
from itertools import cycle
from pathlib import Path

import numpy as np
from docutils.core import publish_parts
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from matplotlib import rc_context
from matplotlib.figure import Figure

from fem.core.atomic_write import csv_bytes, together
from fem.plots.style import STYLES
from fem.scene.appearance import MARK
from fem.wording.picture_text import GREY, INK
from validation.book import Book, Check, chapters
from validation.check import Drawing
from validation.table import HEAD, HOW_TO_READ, broken, left_out, markdown, sources, written

LINES = ["#222222", "#009e73", "#cc79a7", "#56b4e9", "#e69f00", "#6b6b6b"]
"""Colours of curves that are of neither model; apart for each kind of colour blindness."""

FILLS = ("full", "none", "left", "top", "right", "bottom")
"""How the points of several curves of one model are told apart."""

SHARES = 1e-6, 3.0
"""Ends of the overview; smaller and greater shares of the tolerance are drawn there."""


def write_book(book: Book, folder: Path, whole: bool, names: Sequence[str] = ()) -> list[Path]:
    """Write table and page into `folder`, and return their files; `names` were asked for.

    Raises
    ------
    OSError
        If that is impossible.
    """
    files = [folder / name for name in ("table.md", "table.csv", "validation.html")]
    of = f" of {', '.join(names)}" if names else ""
    scope = f"{'All' if whole else 'The quick'} checks{of} were asked for."
    with together() as batch:
        batch.write(files[0], markdown(book).encode())
        batch.write(files[1], csv_bytes(book.table))
        batch.write(files[2], page(book, scope).encode())
    return files


def page(book: Book, scope: str) -> str:
    """Return the page as HTML; `scope` says which checks ran."""
    known, by_chapter = chapters(), book.by_chapter()
    shown = []
    for name, checks in by_chapter.items():
        rows = book.table[book.table.chapter == name]
        shown.append(
            {
                "chapter": known[name],
                "sources": sources(known[name]),
                "text": typeset(known[name].text),
                "pictures": [picture(d) for check in checks for d in check.drawings],
                "table": written(rows).to_dict("records"),
                "off": int((~rows.passed.astype(bool)).sum()) + sum(c.broken for c in checks),
            }
        )
    environment = Environment(
        loader=PackageLoader("validation", "."), autoescape=True, undefined=StrictUndefined
    )
    return environment.get_template("page.html").render(
        summary=book.summary(),
        scope=scope,
        version=version("tubewright"),
        how_to_read=HOW_TO_READ,
        heads=HEAD,
        overview=overview(by_chapter) if book.quantities else "",
        shown=shown,
        broken=list(broken(book)),
        omitted=[left_out(check) for check in book.omitted],
    )


def typeset(text: str, strictness: int = 5) -> Markup:
    """Return reStructuredText as HTML with formulas in MathML.

    Raises
    ------
    docutils.utils.SystemMessage
        If the text has faults of the grade `strictness` (1 to 5) or worse.
    """
    settings = {
        "math_output": "MathML",
        "report_level": strictness,
        "halt_level": strictness,
        "file_insertion_enabled": False,
        "raw_enabled": False,
    }
    source = ".. default-role:: code\n\n" + text
    parts = publish_parts(source, writer="html5", settings_overrides=settings)
    return Markup(parts["fragment"])


def picture(drawing: Drawing) -> Markup:
    """Return curves as SVG: figures of the models as points, all else as lines."""
    figure = Figure(figsize=(5.4, 3.6), layout="constrained")
    axes = figure.subplots()
    lines, fills = cycle(LINES), {model: cycle(FILLS) for model in STYLES}
    for name, (x, y) in drawing.curves.items():
        model = re.split(r"\W", name.lower(), maxsplit=1)[0]
        if model in STYLES:
            marker, color = STYLES[model].marker, STYLES[model].color
            fill = next(fills[model])
            axes.plot(x, y, marker, color=color, fillstyle=fill, markersize=5.5, label=name)
        else:
            axes.plot(x, y, color=next(lines), linewidth=1.4, label=name, zorder=1)
    axes.set_title(drawing.title, fontsize=10)
    axes.set(xlabel=drawing.x, ylabel=drawing.y)
    if drawing.log:
        axes.set(xscale="log", yscale="log")
    axes.grid(color="#e4e4e4", linewidth=0.6)
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(frameon=False, fontsize=8)
    return _svg(figure)


def overview(by_chapter: dict[str, list[Check]]) -> Markup:
    """Return how much of its tolerance each figure takes, a line to each chapter."""
    figure = Figure(figsize=(9.0, 1.0 + 0.27 * len(by_chapter)), layout="constrained")
    axes = figure.subplots()
    for height, checks in enumerate(by_chapter.values()):
        for offset, (key, by) in enumerate([("fe", "FE"), ("fast", "fast")]):
            shares = [
                q.error / q.tolerance if q.tolerance else 2.0 * (q.error > 0)
                for check in checks
                for q in check.quantities
                if q.by in (by, "both")
            ]
            style, drawn = STYLES[key], np.clip(np.nan_to_num(shares, nan=np.inf), *SHARES)
            level = np.full(len(shares), height + 0.15 - 0.3 * offset)
            axes.plot(
                drawn,
                level,
                style.marker,
                color=style.color,
                markersize=3,
                alpha=0.45,
                label=style.label if height == 0 else None,
                markeredgewidth=0,
            )
    axes.axvline(1.0, color=MARK, linewidth=1.2, label="allowed")
    axes.set(
        xscale="log",
        xlim=(SHARES[0] / 1.5, SHARES[1] * 1.5),
        xlabel="error as a share of its tolerance",
    )
    axes.set_yticks(range(len(by_chapter)), [name.replace("_", " ") for name in by_chapter])
    axes.invert_yaxis()
    axes.grid(axis="x", color="#e4e4e4", linewidth=0.6)
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(colors=INK, labelcolor=INK, color=GREY)
    figure.legend(loc="outside upper right", ncols=3, frameon=False, fontsize=8)
    return _svg(figure)


def _svg(figure: Figure) -> Markup:
    """Return a figure as an element of a page; its letters stay letters."""
    file = io.StringIO()
    with rc_context({"svg.fonttype": "none", "font.family": "sans-serif"}):
        figure.savefig(file, format="svg", metadata={"Date": None})
    text = file.getvalue()
    return Markup(text[text.index("<svg") :])
