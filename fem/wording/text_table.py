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
        Titles of the columns; a second line is the unit. Adjacent columns with the same first line
        and a unit form a group, such as the models of one quantity.
    rows
        Cells, row by row.
    text_columns
        Indices of the columns of text, which are left-aligned; all others contain numbers.
    head_columns
        Number of leading columns that are the heads of their row.
    """

    caption: str
    titles: Sequence[str]
    rows: Sequence[Sequence[str]]
    text_columns: Collection[int] = (0,)
    head_columns: int = 1
