"""Tables of the page: column heads that span columns, and page breaks in print."""

from __future__ import annotations

from itertools import accumulate, groupby
from typing import NamedTuple

from fem.wording.text_table import TextTable

WIDE = 3
"""A table of more columns is put into a frame that scrolls sideways."""

TALL = 20
"""A table of more rows may continue on the next page."""

LONG = 24
"""A text of more characters may be broken into lines."""


class Head(NamedTuple):
    """A cell of the head: text, columns and rows that it spans, whether its column holds text."""

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
        Whether it has many rows, and may be broken between pages.
    wide
        Whether it has many columns.
    """

    def __init__(self, table: TextTable) -> None:
        self.table, self.heads = table, heads_of(table)
        self.tall, self.wide = len(table.rows) > TALL, len(table.titles) > WIDE
        ends = accumulate(head.columns for head in self.heads[0])
        spans = zip(ends, self.heads[0], strict=True)
        self._starts = {end - head.columns for end, head in spans if head.columns > 1}

    def kind(self, column: int, cell: str) -> str:
        """Return the CSS classes of a cell: the first of a group, a word, a long text."""
        kinds = {
            "start": column in self._starts,
            "word": column in self.table.text_columns,
            "long": len(cell) > LONG,
        }
        return " ".join(name for name, there in kinds.items() if there)


def heads_of(table: TextTable) -> list[list[Head]]:
    """Return the rows of a head from titles of one line or two.

    Neighbours with the same first line share it. A title of one line spans both rows. The comma
    before an empty unit is removed.
    """
    lines = [
        (above, below.strip(" ,"), number in table.text_columns)
        for number, (above, _, below) in enumerate(title.partition("\n") for title in table.titles)
    ]
    lower = [Head(below, word=word) for _, below, word in lines if below]
    if not lower:
        return [[Head(above, word=word) for above, _, word in lines]]
    upper: list[Head] = []
    for (above, two), group in groupby(lines, key=lambda line: (line[0], bool(line[1]))):
        words = [word for *_, word in group]
        if two:
            upper.append(Head(above, columns=len(words), word=words == [True]))
        else:
            upper += [Head(above, rows=2, word=word) for word in words]
    return [upper, lower]
