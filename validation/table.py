"""The table in writing: as Markdown, a section to each chapter."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from validation.book import MODELS, Book, Chapter, Check, chapters

if TYPE_CHECKING:
    import pandas

HEAD = ["source", "quantity", "expected", "FE", "fast", "error", "tolerance", "mesh", "seconds"]


def markdown(book: Book) -> str:
    """Return the summary, then a section to each chapter with its sources and its table."""
    known = chapters()
    parts = ["# The validation table\n", book.summary(), HOW_TO_READ]
    for name, rows in book.table.groupby("chapter", sort=False):
        chapter = known[str(name)]
        checks = book.by_chapter()[chapter.name]
        parts.append(f"## {chapter.title.removesuffix('.')}\n")
        parts.append(f"`validation/test_{name}.py`. {sources(chapter)} {count(len(checks))}.\n")
        cells = written(rows).replace(r"\|", r"\|", regex=True)  # a bar would end the cell
        body = cells.to_markdown(index=False, disable_numparse=True, stralign=None)
        parts.append(body + "\n")
    parts += [f"- **broke down**: {check.chapter}, {check.name}" for check in broken(book)]
    parts += [f"- **left out**: {left_out(check)}" for check in book.omitted]
    return "\n".join(parts).rstrip() + "\n"


HOW_TO_READ = """
Errors and tolerances are shares of the expected figure, or of the scale that the check names where
that figure is nil. Where both models have a figure, theirs stand apart by a slash, FE first. A row
without a figure of either holds the chapter's own formula against a worked number. The mesh is
that of the FE model: cells through the wall x round the whole tube x along it. Seconds are those
of the check that a row belongs to, told once.
"""


def count(checks: int) -> str:
    """Return how many checks there are, in words that :func:`validation.renew` reads again."""
    return f"{checks} check{'s' if checks != 1 else ''}"


def sources(chapter: Chapter) -> str:
    """Return how the sources of a chapter were read."""
    return " ".join(f"[{key}]: {reading}." for key, reading in chapter.readings.items())


def broken(book: Book) -> Iterator[Any]:
    """Return the checks that failed without a figure that is off."""
    return (check for check in book.checks if check.broken)


def left_out(check: Check) -> str:
    """Return what was left out, and why."""
    return f"{check.chapter}, {check.name}: {check.omission}"


def written(rows: pandas.DataFrame) -> pandas.DataFrame:
    """Return rows of :attr:`validation.book.Book.table` as text, under the heads of `HEAD`."""
    import pandas

    lines = []
    before = None
    for row in rows.to_dict("records"):
        first, before = row["check"] != before, row["check"]
        lines.append(
            {
                "source": row["source"],
                "quantity": row["quantity"],
                "expected": figure(row["expected"]),
                "FE": figure(row["FE"]),
                "fast": figure(row["fast"]),
                "error": _of_each(row, "error") + ("" if row["passed"] else " OFF"),
                "tolerance": _of_each(row, "tolerance"),
                "mesh": row["mesh"],
                "seconds": f"{row['seconds']:.2g}" if first else "",
            }
        )
    return pandas.DataFrame(lines, columns=HEAD)


def figure(value: float) -> str:
    """Return a figure in seven digits, nothing for one that is not there."""
    return "" if math.isnan(value) else f"{value + 0.0:.7g}"  # no minus before a nought


def _of_each(row: dict[Any, Any], name: str) -> str:
    """Return a share by both models, or the one that there is."""
    shares = [row[f"{name}.{model}"] for model in MODELS] + [row[name]]
    texts = [f"{share:.1e}" for share in shares if not math.isnan(share)]
    return texts[0] if len(set(texts)) == 1 else " / ".join(texts)
