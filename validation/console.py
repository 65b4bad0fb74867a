"""What a terminal shows of the book: a bar while it runs, a line to each chapter, what is off."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from fem.wording.progress import Bars
from fem.wording.terminal import print_table, terminal
from fem.wording.text_table import TextTable
from validation.book import MODELS, Book, Check
from validation.run import Report
from validation.table import broken, left_out

LAST_LINES = 3
"""Lines that are shown of why a check broke down; the page has all of them."""


@contextmanager
def progress() -> Iterator[Report]:
    """Show a bar on standard error; hand out the function that moves it."""
    with Bars("checks") as bars:
        bars.report("", 0, None, "collecting")
        yield lambda chapter, done, total: bars.report("", done, total, f"{chapter:24}")


def print_book(book: Book, files: Sequence[Path]) -> None:
    """Print a line to each chapter, every figure that is off, the summary, and what was written."""
    console = terminal()
    rows = [[name, *_cells(checks)] for name, checks in book.by_chapter().items()]
    titles = ["chapter", "values", "FE", "fast", "off", "seconds"]
    caption = "FE, fast: the greatest error as a share of its tolerance"
    print_table(console, TextTable(caption, titles, rows))
    for check in book.checks:
        for quantity in check.quantities:
            if not quantity.passed:
                console.print(f"{check.chapter}: {quantity}", markup=False, highlight=False)
    for check in broken(book):
        reason = "\n".join(check.failure.strip().splitlines()[-LAST_LINES:])
        console.print(f"{check.chapter}, {check.name}: {reason}", markup=False, highlight=False)
    for check in book.omitted:
        console.print(f"left out: {left_out(check)}", markup=False, highlight=False)
    console.print(book.summary())
    console.print(f"written: {', '.join(map(str, files)) or 'nothing'}", soft_wrap=True)


def _cells(checks: list[Check]) -> list[str]:
    quantities = [quantity for check in checks for quantity in check.quantities]
    off = sum(not quantity.passed for quantity in quantities) + sum(c.broken for c in checks)
    worst = []
    for model in MODELS:
        own = [q for q in quantities if q.by in (model, "both") and q.tolerance]
        worst.append(f"{max(q.error / q.tolerance for q in own):.2f}" if own else "")
    seconds = sum(check.seconds for check in checks)
    return [str(len(quantities)), *worst, str(off or ""), f"{seconds:.1f}"]
