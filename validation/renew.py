"""Renew the validation table and the summary in the README: `python -m validation.renew [WORKERS]`.

It runs all checks, writes `validation/TABLE.md`, and puts the summary into the README.
`tests/validation/test_table.py` fails where one of them is out of date.
"""

from __future__ import annotations

import re
import sys

from fem.core.atomic_write import write_text
from validation.console import print_result, progress
from validation.run import run
from validation.suite import FOLDER
from validation.table import markdown

TABLE = FOLDER / "TABLE.md"
README = FOLDER.parent / "README.md"

SUMMARY = "summary of the validation"
"""Mark of the summary in the README."""


def summary_of(table: str) -> str:
    """Return the summary in a table."""
    return table.split("\n\n", 2)[1].strip()


def with_marked(page: str, mark: str, text: str) -> str:
    """Return a page with another text between ``<!-- mark -->`` and ``<!-- end -->``.

    Raises
    ------
    ValueError
        If the page does not have the mark once.
    """
    place = re.compile(rf"(?<=<!-- {mark} -->\n).*?(?=\n<!-- end -->)", re.DOTALL)
    page, places = place.subn(lambda _: text, page)
    if places != 1:
        raise ValueError(f'the mark "{mark}" is there {places} times; 1 is required')
    return page


def main(workers: int = 2) -> int:
    """Run the whole suite; write both files if all passed and none was skipped.

    Return the exit code.
    """
    with progress() as report:
        result = run(whole=True, workers=workers, report=report)
    complete = result.passed and not result.skipped
    if complete:
        write_text(TABLE, markdown(result))
        readme = README.read_text(encoding="utf-8")
        write_text(README, with_marked(readme, SUMMARY, result.summary()))
    print_result(result, [TABLE, README] if complete else [])
    return 0 if complete else 3


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
