"""The terminal: its console, and tables that fit its width."""

from __future__ import annotations

import os
import sys
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from operator import attrgetter
from pathlib import Path

from rich.console import Console
from rich.table import Table

from fem.wording.text_table import TextTable

GAP = 2
"""Spaces between columns."""

FILE_WIDTH = 100
"""Width of output to a file or a pipe (characters)."""

MIN_TEXT_WIDTH = 16
"""Text is not wrapped to a smaller width (characters)."""

MIN_TITLE_WIDTH = 8
"""Titles of one line are not wrapped to a smaller width (characters)."""


def terminal() -> Console:
    """Return the console of standard output, which prints text without markup."""
    known = sys.stdout.isatty() or "COLUMNS" in os.environ
    return Console(highlight=False, markup=False, width=None if known else FILE_WIDTH)


def print_table(console: Console, table: TextTable) -> None:
    """Print a caption, its table, in several parts if too wide, and an empty line."""
    if table.caption:
        console.print(table.caption, style="bold")
    for part in parts(table, console.width):
        console.print(part, "")


def print_files(console: Console, files: Iterable[Path]) -> None:
    """Print which files were written, a line for each folder."""
    for folder, names in groupby(sorted(files), key=attrgetter("parent")):
        console.print(f"{folder}: {', '.join(file.name for file in names)}", soft_wrap=True)


def parts(table: TextTable, width: int) -> Iterator[Table]:
    """Yield a table in parts no wider than `width`, each with the head columns and some others.

    Columns of a group stay together. Text is wrapped before a table is divided.
    """
    heads, others = range(table.head_columns), range(table.head_columns, len(table.titles))
    blocks = [list(block) for _, block in groupby(others, lambda n: _block(table, n))]
    available = width + GAP - _width(table, heads)
    while blocks:
        count, used = 1, _width(table, blocks[0])
        while count < len(blocks) and used + _width(table, blocks[count]) <= available:
            used += _width(table, blocks[count])
            count += 1
        yield rich_table(table, [*heads, *(n for block in blocks[:count] for n in block)])
        blocks = blocks[count:]


def rich_table(table: TextTable, columns: Sequence[int] = ()) -> Table:
    """Return columns of a table, by default all, without rules; text may be wrapped."""
    columns = columns or range(len(table.titles))
    spaced = any("\n" in cell for row in table.rows for cell in row)
    shown = Table(box=None, pad_edge=False, padding=(0, GAP, int(spaced), 0))
    for n in columns:
        text = n in table.text_columns
        shown.add_column(
            _title(table, n),
            justify="left" if text else "right",
            min_width=_width(table, [n]) - GAP,
            no_wrap=not text,
            overflow="fold",
        )
    for row in table.rows:
        shown.add_row(*(row[n] for n in columns))
    return shown


def _title(table: TextTable, column: int) -> str:
    """Return the title of a column; a title of one line is wrapped to the width of its cells."""
    title = table.titles[column]
    if "\n" in title:
        return title
    cells = max((len(line) for row in table.rows for line in row[column].split("\n")), default=0)
    return textwrap.fill(title, max(cells, MIN_TITLE_WIDTH), break_long_words=False)


def _block(table: TextTable, column: int) -> object:
    """Return the key of the group of a column."""
    above, line, _ = table.titles[column].partition("\n")
    return above if line else column


def _width(table: TextTable, columns: Sequence[int]) -> int:
    """Return the least width of columns with their gaps (characters)."""
    total = 0
    for n in columns:
        cells = (_title(table, n), *(row[n] for row in table.rows))
        width = max(len(line) for cell in cells for line in cell.split("\n"))
        total += GAP + (min(width, MIN_TEXT_WIDTH) if n in table.text_columns else width)
    return total
