"""Renew what the repository says of the book: `python -m validation.renew`.

It runs all checks, writes `validation/TABLE.md`, and puts the summary into the README. Nothing is
copied by hand; `tests/validation/test_table.py` keeps both current.
"""

from __future__ import annotations

import re
import sys

from fem.core.atomic_write import write_text
from validation.book import FOLDER
from validation.console import print_book, progress
from validation.run import run
from validation.table import markdown

TABLE = FOLDER / "TABLE.md"
README = FOLDER.parent / "README.md"

PLACE = re.compile(r"(?<=<!-- summary of the validation -->\n).*?(?=\n<!-- end -->)", re.DOTALL)
"""Where the README has the summary."""


def summary_of(table: str) -> str:
    """Return the summary that stands in a table."""
    return table.split("\n\n", 2)[1].strip()


def with_summary(readme: str, summary: str) -> str:
    """Return the text of the README with another summary.

    Raises
    ------
    ValueError
        If it has no place for one.
    """
    text, places = PLACE.subn(summary.replace("\\", r"\\"), readme)
    if places != 1:
        raise ValueError(f"the README has {places} places for the summary of the validation")
    return text


def main(workers: int = 2) -> int:
    """Run the whole book; write it if nothing is off or left out. Return the exit code."""
    with progress() as report:
        book = run(whole=True, workers=workers, report=report)
    complete = book.passed and not book.omitted
    if complete:
        write_text(TABLE, markdown(book))
        readme = README.read_text(encoding="utf-8")
        write_text(README, with_summary(readme, book.summary()))
    print_book(book, [TABLE, README] if complete else [])
    return 0 if complete else 3


if __name__ == "__main__":
    sys.exit(main())
