"""Terminal output of a run: a progress bar, a line for each chapter, values outside tolerance."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from fem.wording.progress import Bars
from fem.wording.terminal import print_table, terminal
from fem.wording.text_table import TextTable
from validation.check import MODELS
from validation.run import Report
from validation.suite import Check, SuiteResult
from validation.table import crashed, reason_of_skip

LAST_LINES = 3
"""Number of lines of a traceback that are printed; the page has all of them."""


@contextmanager
def progress() -> Iterator[Report]:
    """Show a bar on standard error; yield the function that updates it."""
    with Bars("checks") as bars:
        bars.report("", 0, None, "collecting")
        yield lambda chapter, done, total: bars.report("", done, total, f"{chapter:24}")


def print_result(result: SuiteResult, files: Sequence[Path]) -> None:
    """Print a line for each chapter, all values outside tolerance, the summary, and the files."""
    console = terminal()
    rows = [[name, *_cells(checks)] for name, checks in result.by_chapter().items()]
    titles = ["chapter", "values", "FE", "fast", "outside", "seconds"]
    caption = "FE, fast: largest error / tolerance; outside: number of values outside tolerance"
    print_table(console, TextTable(caption, titles, rows))
    for check in result.checks:
        for quantity in check.quantities:
            if not quantity.passed:
                console.print(f"{check.chapter}: {quantity}", markup=False, highlight=False)
    for check in crashed(result):
        reason = "\n".join(check.failure.strip().splitlines()[-LAST_LINES:])
        console.print(f"{check.chapter}, {check.name}: {reason}", markup=False, highlight=False)
    for check in result.skipped:
        console.print(f"skipped: {reason_of_skip(check)}", markup=False, highlight=False)
    console.print(result.summary())
    console.print(f"written: {', '.join(map(str, files)) or 'nothing'}", soft_wrap=True)


def _cells(checks: list[Check]) -> list[str]:
    quantities = [quantity for check in checks for quantity in check.quantities]
    off = sum(not quantity.passed for quantity in quantities) + sum(c.crashed for c in checks)
    worst = []
    for model in MODELS:
        own = [quantity.utilisation for quantity in quantities if model in quantity.models]
        worst.append(f"{max(own):.2f}" if own else "")
    seconds = sum(check.seconds for check in checks)
    return [str(len(quantities)), *worst, str(off or ""), f"{seconds:.1f}"]
