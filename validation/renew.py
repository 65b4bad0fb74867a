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

PLACE = re.compile(r"(?<=<!-- summary of the validation -->\n).*?(?=\n<!-- end -->)", re.DOTALL)
"""The summary in the README."""


def summary_of(table: str) -> str:
    """Return the summary in a table."""
    return table.split("\n\n", 2)[1].strip()


def with_summary(readme: str, summary: str) -> str:
    """Return the text of the README with another summary.

    Raises
    ------
    ValueError
        If its two marks are missing.
    """
    text, places = PLACE.subn(summary.replace("\\", r"\\"), readme)
    if places != 1:
        raise ValueError(f"the README has {places} marked places for the summary of the validation")
    return text


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
        write_text(README, with_summary(readme, result.summary()))
    print_result(result, [TABLE, README] if complete else [])
    return 0 if complete else 3


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
