"""Renew the table of columns in docs/outputs.md from the table of quantities (`make docs`)."""

from __future__ import annotations

import re
from pathlib import Path

from fem.core.atomic_write import write_text
from fem.quantities.quantity import Quantity, Trait
from fem.quantities.table import QUANTITIES

PAGE = Path(__file__).parents[1] / "docs" / "outputs.md"

PLACE = re.compile(r"(?<=<!-- quantities -->\n).*?(?=<!-- end -->)", re.DOTALL)
"""Where the page has the table."""


def row(quantity: Quantity) -> list[str]:
    """Return the cells of a quantity: column, unit, definition, sign of the mirror image."""
    family = ".<family>" if quantity.of == "threads" else ""
    definition = " ".join(quantity.definition.split()).replace("|", r"\|")
    mirrored = "opposite" if Trait.ODD in quantity.traits else ""
    return [f"`{quantity.column}{family}`", quantity.unit, definition, mirrored]


def table() -> str:
    """Return the table of all columns, in their order."""
    head = ["column", "unit", "definition", "mirror image"]
    rows = [head, ["---"] * len(head), *map(row, QUANTITIES)]
    return "".join(f"| {' | '.join(cells)} |\n" for cells in rows)


def renewed(page: str) -> str:
    """Return the text of the page with the present table."""
    text, places = PLACE.subn(lambda _: table(), page)
    assert places == 1, f"{PAGE}: {places} places for the table of columns"
    return text


if __name__ == "__main__":
    write_text(PAGE, renewed(PAGE.read_text(encoding="utf-8")))
