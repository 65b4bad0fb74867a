"""Tables as the page has them: heads that span columns, and what may be broken over pages."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from functools import cached_property
from operator import attrgetter
from typing import NamedTuple

from fem.wording.text_table import TextTable

WIDE = 3
"""A table of more columns may be wider than the page, and then moves in a frame of its own."""

TALL = 20
"""A table of more rows may go on on the next page."""

LONG = 24
"""A text of more letters may be broken into lines."""


class Head(NamedTuple):
    """A cell of the head: its text, how many columns and rows it spans, whether words follow."""

    text: str
    columns: int = 1
    rows: int = 1
    word: bool = False


class HtmlTable:
    """A table as the template `parts.html` writes it.

    Attributes
    ----------
    table
        The table.
    heads
        Rows of the head.
    tall
        Whether it may be broken from page to page, having many rows.
    wide
        Whether it has many columns.
    """

    def __init__(self, table: TextTable) -> None:
        self.table, self.heads = table, heads_of(table)
        self.tall, self.wide = len(table.rows) > TALL, len(table.titles) > WIDE

    @cached_property
    def _starts(self) -> set[int]:
        """Numbers of the columns that begin a group below one head."""
        spans = [head.columns for head in self.heads[0]]
        begins = itertools.accumulate(spans, initial=0)
        return {begin for begin, span in zip(begins, spans, strict=False) if span > 1}

    def kind(self, column: int, cell: str) -> str:
        """Return the classes of a cell: words or a long text, the first of a group."""
        kinds = {
            "start": column in self._starts,
            "word": column in self.table.words,
            "long": len(cell) > LONG,
        }
        return " ".join(name for name, there in kinds.items() if there)


def heads_of(table: TextTable) -> list[list[Head]]:
    """Return the rows of a head from titles of one line or two.

    Neighbours with the same first line share it. A title of one line spans both rows.
    """
    lines = [_Line.of(title, number in table.words) for number, title in enumerate(table.titles)]
    if not any(line.below for line in lines):
        return [[Head(line.above, word=line.word) for line in lines]]
    below = [Head(line.below, word=line.word) for line in lines if line.below]
    return [list(_upper(lines)), below]


class _Line(NamedTuple):
    """A title in two lines, and whether words stand below it."""

    above: str
    below: str
    word: bool

    @classmethod
    def of(cls, title: str, word: bool) -> _Line:
        """Split a title; a unit that is none leaves a comma behind."""
        above, _, below = title.partition("\n")
        return cls(above, below.strip(" ,"), word)

    @property
    def kind(self) -> tuple[str, bool]:
        """What neighbours share that stand below one head."""
        return self.above, bool(self.below)


def _upper(lines: Sequence[_Line]) -> Iterator[Head]:
    for (above, two), group in itertools.groupby(lines, attrgetter("kind")):
        first, *others = group
        if two:
            yield Head(above, columns=1 + len(others), word=first.word and not others)
        else:
            yield from [Head(above, rows=2, word=line.word) for line in (first, *others)]
