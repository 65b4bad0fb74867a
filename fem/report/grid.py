"""Tables as the page has them: heads that may span columns, cells as text."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from operator import attrgetter
from typing import NamedTuple

from rich.table import Table

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


@dataclass(frozen=True)
class Grid:
    """A table.

    Attributes
    ----------
    caption
        What it shows.
    heads
        Rows of the head.
    rows
        Cells, row by row.
    keys
        So many of the first columns are the heads of their row.
    words
        Numbers of the columns that hold words, set from the left; all others hold figures.
    """

    caption: str
    heads: Sequence[Sequence[Head]]
    rows: Sequence[Sequence[str]]
    keys: int = 1
    words: Collection[int] = field(default=())

    @property
    def tall(self) -> bool:
        """Whether it may be broken from page to page, having many rows."""
        return len(self.rows) > TALL

    @property
    def wide(self) -> bool:
        """Whether it has many columns."""
        return sum(head.columns for head in self.heads[0]) > WIDE

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
            "word": column in self.words,
            "long": len(cell) > LONG,
        }
        return " ".join(name for name, there in kinds.items() if there)

    @classmethod
    def of(
        cls,
        caption: str,
        titles: Sequence[str],
        rows: Sequence[Sequence[str]],
        words: Collection[int] = (0,),
        keys: int = 1,
    ) -> Grid:
        """Return a table by the titles of its columns; the second line of a title is its unit."""
        return cls(caption, heads_of(titles, words), rows, keys, words)

    @classmethod
    def from_terminal(cls, caption: str, table: Table, names: Sequence[str] = ()) -> Grid:
        """Return a table of the terminal; columns without a head take the `names` in turn."""
        blank = iter(names)
        titles = [str(column.header) or next(blank, "") for column in table.columns]
        cells = [[str(cell) for cell in column.cells] for column in table.columns]
        words = [n for n, column in enumerate(table.columns) if column.justify == "left"]
        return cls.of(caption, titles, [*zip(*cells, strict=True)], words)


def heads_of(titles: Sequence[str], words: Collection[int] = ()) -> list[list[Head]]:
    """Return the rows of a head from titles of one line or two.

    Neighbours with the same first line share it. A title of one line spans both rows.
    """
    lines = [_Line.of(title, number in words) for number, title in enumerate(titles)]
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
