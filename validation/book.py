"""The book itself: chapters as their files state them, and the figures that their checks found."""

from __future__ import annotations

import ast
import math
import re
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from validation.check import Drawing, OffError, Quantity

if TYPE_CHECKING:
    import pandas

FOLDER = Path(__file__).parent

READINGS = (
    "read at the source",
    "second-hand",
    "from memory",
    "derived here",
    "run here",
    "common practice, no source",
)
"""How the `note` of a BibTeX entry begins: how its figures or formulas came here."""

MODELS = ("FE", "fast")
FORMULA = "formula"
WHOSE = (*MODELS, FORMULA)
"""Whose a figure is: a model's, or neither's."""

_ENTRY = re.compile(r"^@\w+\{.*?^\}$\n?", re.MULTILINE | re.DOTALL)
_KEY = re.compile(r"@\w+\{([^,]*),")
_NOTE = re.compile(r"^\s*note = \{(.*?)\},?$", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class Chapter:
    """What a file of the book says.

    Attributes
    ----------
    name
        Its name without ``test_`` and ``.py``.
    title
        One line.
    entries
        Its sources, as BibTeX.
    text
        Formulas, worked numbers, tolerances and their reasons, as reStructuredText.
    """

    name: str
    title: str
    entries: list[str]
    text: str

    @classmethod
    def read(cls, file: Path) -> Chapter:
        """Return the chapter of a file, which is not run."""
        docstring = ast.get_docstring(ast.parse(file.read_text(encoding="utf-8"))) or ""
        title, _, rest = docstring.partition("\n")
        entries = [entry.strip() for entry in _ENTRY.findall(rest)]
        text = _ENTRY.sub("", rest).strip()
        return cls(file.stem.removeprefix("test_"), title.strip(), entries, text)

    @property
    def readings(self) -> dict[str, str]:
        """The `note` of each source by its key: how it was read."""
        found = {}
        for entry in self.entries:
            key, note = _KEY.match(entry), _NOTE.search(entry)
            found[key[1] if key else ""] = " ".join(note[1].split()) if note else ""
        return found


def chapters() -> dict[str, Chapter]:
    """Return all chapters by their names."""
    read = [Chapter.read(file) for file in sorted(FOLDER.glob("test_*.py"))]
    return {chapter.name: chapter for chapter in read}


@dataclass(frozen=True)
class Check:
    """What became of one function of a chapter.

    Attributes
    ----------
    chapter, name
        The chapter, and the function with its parameters.
    seconds
        Wall time.
    failure
        Why it failed, empty if it passed.
    quantities, drawings
        What it recorded.
    omission
        Why it was left out, empty if it ran.
    """

    chapter: str
    name: str
    seconds: float
    failure: str = ""
    quantities: list[Quantity] = field(default_factory=list)
    drawings: list[Drawing] = field(default_factory=list)
    omission: str = ""

    @property
    def broken(self) -> bool:
        """Whether it failed otherwise than by a quantity that is off."""
        return bool(self.failure) and f"{OffError.__name__}: " not in self.failure


@dataclass(frozen=True)
class Book:
    """What all checks that ran have found.

    Attributes
    ----------
    checks
        In the order of the files.
    interrupted
        Whether the user broke it off.
    """

    checks: list[Check]
    interrupted: bool = False

    @property
    def quantities(self) -> list[Quantity]:
        """All figures."""
        return [quantity for check in self.checks for quantity in check.quantities]

    @property
    def passed(self) -> bool:
        """Whether something was checked, to its end, and nothing is off."""
        ran = any(not check.omission for check in self.checks) and not self.interrupted
        return ran and not any(check.failure for check in self.checks)

    @property
    def omitted(self) -> list[Check]:
        """What was left out, for want of a library that only it needs."""
        return [check for check in self.checks if check.omission]

    def by_chapter(self) -> dict[str, list[Check]]:
        """Return the checks that ran, of each chapter that has any."""
        found: dict[str, list[Check]] = {}
        for check in self.checks:
            if not check.omission:
                found.setdefault(check.chapter, []).append(check)
        return found

    @cached_property
    def table(self) -> pandas.DataFrame:
        """The table: a row to each quantity, the figures of both models side by side.

        Columns: chapter, check, source, quantity; expected, and scale, of which errors and
        tolerances are shares; FE and fast, the figures of the models (of a part that they share,
        both), and formula, that of a file's own formula or of another solver; the error and the
        tolerance of each; mesh; seconds of its check; bound, whether the figure need only be no
        greater than its tolerance; passed.
        """
        import pandas

        rows = [_row(check, quantity) for check in self.checks for quantity in check.quantities]
        frame = pandas.DataFrame(rows, columns=COLUMNS).astype(dict.fromkeys(FIGURES, float))
        return _side_by_side(frame) if rows else frame

    def summary(self) -> str:
        """Return in one sentence what was held against what, and what came of it."""
        own = {model: sum(q.by in (model, "both") for q in self.quantities) for model in MODELS}
        off = sum(not quantity.passed for quantity in self.quantities)
        broken = sum(check.broken for check in self.checks)
        verdict = "all are within their tolerances"
        if off or broken:
            verdict = f"{off} are off" + (f", and {broken} checks broke down" if broken else "")
        if not self.quantities and not broken:
            verdict = "there was nothing to check (slow checks run with --whole)"
        if self.interrupted:
            verdict += ". Broken off: not all checks were made"
        told = len(self.by_chapter())
        return (
            f"{len(self.quantities):,} figures of {told} "
            f"chapter{'s' if told != 1 else ''} were checked "
            f"({own['FE']:,} of the FE model, {own['fast']:,} of the fast model): {verdict}."
        )


FIGURES = [
    *("expected", "scale", *WHOSE),
    *(f"{what}.{whose}" for what in ("error", "tolerance") for whose in WHOSE),
]
COLUMNS = [
    *("chapter", "check", "source", "quantity"),
    *FIGURES,
    *("mesh", "seconds", "bound", "passed"),
]


def _row(check: Check, quantity: Quantity) -> dict[str, object]:
    row: dict[str, object] = dict.fromkeys(COLUMNS, math.nan)
    row |= {
        "chapter": check.chapter,
        "check": check.name,
        "source": quantity.source,
        "quantity": quantity.name,
        "expected": quantity.expected,
        "scale": abs(quantity.expected if quantity.scale is None else quantity.scale),
        "mesh": quantity.mesh,
        "seconds": check.seconds,
        "bound": quantity.bound,
        "passed": quantity.passed,
    }
    for whose in _of(quantity):
        row[whose] = quantity.computed
        row[f"error.{whose}"], row[f"tolerance.{whose}"] = quantity.error, quantity.tolerance
    return row


def _of(quantity: Quantity) -> tuple[str, ...]:
    return MODELS if quantity.by == "both" else (quantity.by or FORMULA,)


def _side_by_side(frame: pandas.DataFrame) -> pandas.DataFrame:
    """Return the table with the figures of both models for one quantity in one row."""
    same = ["chapter", "source", "quantity", "expected"]
    whose = frame["tolerance.FE"].notna() * 2 + frame["tolerance.fast"].notna()
    nth = frame.assign(whose=whose).groupby([*same, "whose"], dropna=False).cumcount()
    rows = frame.groupby([*same, nth], sort=False, dropna=False, as_index=False)
    merged = rows.agg(
        {
            name: "max" if name in ("seconds", "mesh") else "min" if name == "passed" else "first"
            for name in COLUMNS
            if name not in same
        }
    )
    return merged[COLUMNS]
