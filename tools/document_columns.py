"""Renew the table of columns in docs/outputs.md from the table of quantities (`make docs`)."""

from __future__ import annotations

from pathlib import Path

from fem.core.atomic_write import write_text
from fem.quantities.quantity import Quantity, Trait
from fem.quantities.table import QUANTITIES
from validation.renew import with_marked

PAGE = Path(__file__).parents[1] / "docs" / "outputs.md"

MARK = "quantities"
"""Mark of the table on the page."""


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
    return "\n".join(f"| {' | '.join(cells)} |" for cells in rows)


def renewed(page: str) -> str:
    """Return the text of the page with the present table."""
    return with_marked(page, MARK, table())


if __name__ == "__main__":
    write_text(PAGE, renewed(PAGE.read_text(encoding="utf-8")))
