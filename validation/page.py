"""The result of a run as one self-contained page: text with formulas, pictures, the full list."""

from __future__ import annotations

import io
import re
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
from validation.check import MODELS, Drawing
from validation.full_list import HEAD, HOW_TO_READ, formatted
from validation.suite import Check, SuiteResult, chapters
from validation.table import crashed, markdown, reason_of_skip, sources

LINES = ["#222222", "#009e73", "#cc79a7", "#56b4e9", "#e69f00", "#6b6b6b"]
"""Colours of curves of neither model; distinct for all types of colour blindness."""

FILLS = ("full", "none", "left", "top", "right", "bottom")
"""Fill styles that distinguish several curves of one model."""

RANGE = 1e-6, 3.0
"""Limits of the overview; values beyond them are drawn at the limit."""


def write_result(
    result: SuiteResult, folder: Path, scope: str, csv: Path | None = None
) -> list[Path]:
    """Write table and page into `folder`, and the full list into `csv`; return the files.

    `scope` states which checks were requested.

    Raises
    ------
    OSError
        If a file cannot be written.
    """
    contents = {
        folder / "table.md": markdown(result).encode(),
        folder / "validation.html": page(result, scope).encode(),
    }
    if csv is not None:
        contents[csv] = csv_bytes(result.values)
    with together() as batch:
        for file, content in contents.items():
            batch.write(file, content)
    return list(contents)


def page(result: SuiteResult, scope: str) -> str:
    """Return the page as HTML; `scope` states which checks were requested."""
    known, by_chapter = chapters(), result.by_chapter()
    parts = []
    for name, checks in by_chapter.items():
        rows = result.values[result.values.chapter == name]
        parts.append(
            {
                "chapter": known[name],
                "sources": sources(known[name]),
                "text": typeset(known[name].text),
                "pictures": [picture(d) for check in checks for d in check.drawings],
                "table": formatted(rows).to_dict("records"),
                "off": int((~rows.passed.astype(bool)).sum()) + sum(c.crashed for c in checks),
            }
        )
    environment = Environment(
        loader=PackageLoader("validation", "."), autoescape=True, undefined=StrictUndefined
    )
    return environment.get_template("page.html").render(
        summary=result.summary(),
        scope=scope,
        version=version("tubewright"),
        how_to_read=HOW_TO_READ,
        heads=HEAD,
        overview=overview(by_chapter) if result.quantities else "",
        parts=parts,
        crashed=list(crashed(result)),
        skipped=[reason_of_skip(check) for check in result.skipped],
    )


def typeset(text: str, strictness: int = 5) -> Markup:
    """Return reStructuredText as HTML with formulas in MathML.

    Raises
    ------
    docutils.utils.SystemMessage
        If the text has errors of the level `strictness` (1 to 5) or worse.
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
    """Return curves as SVG: values of the models as points, all others as lines."""
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
    """Return a plot of error divided by tolerance of each value, a line for each chapter."""
    figure = Figure(figsize=(9.0, 1.0 + 0.27 * len(by_chapter)), layout="constrained")
    axes = figure.subplots()
    for height, checks in enumerate(by_chapter.values()):
        for offset, (key, by) in enumerate(zip(("fe", "fast"), MODELS, strict=True)):
            used = [q.utilisation for c in checks for q in c.quantities if by in q.models]
            style, drawn = STYLES[key], np.clip(used, *RANGE)
            level = np.full(len(used), height + 0.15 - 0.3 * offset)
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
    axes.axvline(1.0, color=MARK, linewidth=1.2, label="tolerance")
    axes.set(
        xscale="log",
        xlim=(RANGE[0] / 1.5, RANGE[1] * 1.5),
        xlabel="error / tolerance",
    )
    axes.set_yticks(range(len(by_chapter)), [name.replace("_", " ") for name in by_chapter])
    axes.invert_yaxis()
    axes.grid(axis="x", color="#e4e4e4", linewidth=0.6)
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(colors=INK, labelcolor=INK, color=GREY)
    figure.legend(loc="outside upper right", ncols=3, frameon=False, fontsize=8)
    return _svg(figure)


def _svg(figure: Figure) -> Markup:
    """Return a figure as an element of a page; its text stays text."""
    file = io.StringIO()
    with rc_context({"svg.fonttype": "none", "font.family": "sans-serif"}):
        figure.savefig(file, format="svg", metadata={"Date": None})
    text = file.getvalue()
    return Markup(text[text.index("<svg") :])
