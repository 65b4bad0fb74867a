"""The full list of values as text, for the page."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from validation.suite import COMPUTED_BY

if TYPE_CHECKING:
    import pandas

HEAD = ["source", "quantity", "expected", *COMPUTED_BY, "error", "tolerance", "mesh", "seconds"]

HOW_TO_READ = """
Errors and tolerances are relative to the expected value, or to the value named after the tolerance
where the expected value is zero or small compared with similar ones. Where both models have a
value, a slash separates them, FE first. Under "formula" a chapter's own formula is compared with a
worked number, or another solver with statics. For a value that must only be small, the bound is in
the column "expected". The mesh is that of the FE model: cells through the wall x round the whole
tube x along it. The time of a check is in its first row only.
"""


def formatted(rows: pandas.DataFrame) -> pandas.DataFrame:
    """Return rows of :attr:`validation.suite.SuiteResult.values` as text, with columns `HEAD`."""
    import pandas

    lines = []
    before = None
    for row in rows.to_dict("records"):
        first, before = row["check"] != before, row["check"]
        present = [by for by in COMPUTED_BY if not math.isnan(row[f"tolerance.{by}"])]
        tolerance = _of_each(row, "tolerance", present)
        scaled = not row["bound"] and row["scale"] != abs(row["expected"])
        lines.append(
            {
                "source": row["source"],
                "quantity": row["quantity"],
                "expected": f"≤ {tolerance}" if row["bound"] else number(row["expected"]),
                **{by: number(row[by]) if by in present else "" for by in COMPUTED_BY},
                "error": _of_each(row, "error", present) + _off(row, present),
                "tolerance": tolerance + (f" of {row['scale']:.3g}" if scaled else ""),
                "mesh": row["mesh"],
                "seconds": f"{row['seconds']:.2g}" if first else "",
            }
        )
    return pandas.DataFrame(lines, columns=HEAD)


def number(value: float) -> str:
    """Return a number with seven digits."""
    return f"{value + 0.0:.7g}"  # no negative zero


def _of_each(row: dict[Any, Any], name: str, present: list[str]) -> str:
    """Return the errors or tolerances of both models, or the only one."""
    texts = [f"{row[f'{name}.{by}']:.1e}" for by in present]
    return texts[0] if len(set(texts)) == 1 else " / ".join(texts)


def _off(row: dict[Any, Any], present: list[str]) -> str:
    """Return the mark of a row outside tolerance, with the model where there are two."""
    off = [by for by in present if not row[f"error.{by}"] <= row[f"tolerance.{by}"]]
    return "" if not off else " OUTSIDE" if off == present else f" OUTSIDE ({off[0]})"
