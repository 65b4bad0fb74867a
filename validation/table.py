"""The table in writing: as Markdown, a section to each chapter."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from validation.book import WHOSE, Book, Chapter, Check, chapters

if TYPE_CHECKING:
    import pandas

HEAD = ["source", "quantity", "expected", *WHOSE, "error", "tolerance", "mesh", "seconds"]


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
Errors and tolerances are shares of the expected figure, or of what is named after the tolerance,
where that figure is nil or small beside its like. Where both models have a figure, theirs stand
apart by a slash, FE first. Under "formula" a chapter's own formula is held against a worked number,
or another solver against statics. A figure that need only be small enough has its bound for the
expected one. The mesh is that of the FE model: cells through the wall x round the whole tube x
along it. Seconds are those of the check that a row belongs to, told once.
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
        present = [whose for whose in WHOSE if not math.isnan(row[f"tolerance.{whose}"])]
        tolerance = _of_each(row, "tolerance", present)
        scaled = not row["bound"] and row["scale"] != abs(row["expected"])
        lines.append(
            {
                "source": row["source"],
                "quantity": row["quantity"],
                "expected": f"≤ {tolerance}" if row["bound"] else figure(row["expected"]),
                **{whose: figure(row[whose]) if whose in present else "" for whose in WHOSE},
                "error": _of_each(row, "error", present) + _off(row, present),
                "tolerance": tolerance + (f" of {row['scale']:.3g}" if scaled else ""),
                "mesh": row["mesh"],
                "seconds": f"{row['seconds']:.2g}" if first else "",
            }
        )
    return pandas.DataFrame(lines, columns=HEAD)


def figure(value: float) -> str:
    """Return a figure in seven digits."""
    return f"{value + 0.0:.7g}"  # no minus before a nought


def _of_each(row: dict[Any, Any], name: str, present: list[str]) -> str:
    """Return a share by both models, or the one that there is."""
    texts = [f"{row[f'{name}.{whose}']:.1e}" for whose in present]
    return texts[0] if len(set(texts)) == 1 else " / ".join(texts)


def _off(row: dict[Any, Any], present: list[str]) -> str:
    """Return the mark of a row that is off, with whose figure it is where there are two."""
    off = [w for w in present if not row[f"error.{w}"] <= row[f"tolerance.{w}"]]
    return "" if not off else " OFF" if off == present else f" OFF ({off[0]})"
