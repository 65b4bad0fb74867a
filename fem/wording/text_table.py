"""A table of text, the same for the terminal and for HTML."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class TextTable:
    """A table.

    Attributes
    ----------
    caption
        What it shows; may be empty.
    titles
        Heads of the columns; a second line is the unit. Neighbours with the same first line and a
        unit belong together, as the models of one quantity.
    rows
        Cells, row by row.
    words
        Numbers of the columns that hold words, set from the left; all others hold numbers.
    keys
        So many of the first columns are the heads of their row.
    """

    caption: str
    titles: Sequence[str]
    rows: Sequence[Sequence[str]]
    words: Collection[int] = (0,)
    keys: int = 1
