"""The validation suite: its chapters as their files state them, and the results of a run."""

from __future__ import annotations

import ast
import math
import re
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from validation.check import FORMULA, MODELS, Drawing, Quantity, ToleranceError

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
"""How the `note` of a BibTeX entry begins: how its values or formulas were obtained."""

COMPUTED_BY = (*MODELS, FORMULA)

_ENTRY = re.compile(r"^@\w+\{.*?^\}$\n?", re.MULTILINE | re.DOTALL)
_KEY = re.compile(r"@\w+\{([^,]*),")
_NOTE = re.compile(r"^\s*note = \{(.*?)\},?$", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class Chapter:
    """The docstring of a file of the suite.

    Attributes
    ----------
    name
        Name of the file without ``test_`` and ``.py``.
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
        """Return the chapter of a file without running it."""
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
    """The result of one function of a chapter.

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
        Why it was skipped, empty if it ran.
    """

    chapter: str
    name: str
    seconds: float
    failure: str = ""
    quantities: list[Quantity] = field(default_factory=list)
    drawings: list[Drawing] = field(default_factory=list)
    omission: str = ""

    @property
    def crashed(self) -> bool:
        """Whether it failed for another reason than a value outside its tolerance."""
        return bool(self.failure) and f"{ToleranceError.__name__}: " not in self.failure


@dataclass(frozen=True)
class SuiteResult:
    """The results of all checks of a run.

    Attributes
    ----------
    checks
        In the order of the files.
    interrupted
        Whether the user interrupted the run.
    """

    checks: list[Check]
    interrupted: bool = False

    @property
    def quantities(self) -> list[Quantity]:
        """All checked values."""
        return [quantity for check in self.checks for quantity in check.quantities]

    @property
    def passed(self) -> bool:
        """Whether at least one check ran, the run was completed, and all checks passed."""
        ran = any(not check.omission for check in self.checks) and not self.interrupted
        return ran and not any(check.failure for check in self.checks)

    @property
    def skipped(self) -> list[Check]:
        """Checks that were skipped because a library that only they need is missing."""
        return [check for check in self.checks if check.omission]

    def by_chapter(self) -> dict[str, list[Check]]:
        """Return the checks that ran, by chapter."""
        found: dict[str, list[Check]] = {}
        for check in self.checks:
            if not check.omission:
                found.setdefault(check.chapter, []).append(check)
        return found

    @cached_property
    def values(self) -> pandas.DataFrame:
        """The full list: a row for each quantity, the values of both models side by side.

        Columns: chapter, check, source, quantity, kind; expected, and scale, which errors and
        tolerances are relative to; FE and fast, the values of the models (both, for a part that
        they share), and formula, the value of a chapter's own formula or of another solver; error
        and tolerance of each; mesh; seconds of the check; bound, whether the value only has to be
        at most its tolerance; passed.
        """
        import pandas

        rows = [_row(check, quantity) for check in self.checks for quantity in check.quantities]
        frame = pandas.DataFrame(rows, columns=COLUMNS).astype(dict.fromkeys(NUMBERS, float))
        return _side_by_side(frame) if rows else frame

    def summary(self) -> str:
        """Return in one sentence how many values were checked, and the result."""
        own = {model: sum(model in q.models for q in self.quantities) for model in MODELS}
        off = sum(not quantity.passed for quantity in self.quantities)
        crashed = sum(check.crashed for check in self.checks)
        verdict = "all are within their tolerances"
        if off or crashed:
            verdict = f"{off} exceed their tolerances"
            verdict += f", and {crashed} checks ended with an error" if crashed else ""
        if not self.quantities and not crashed:
            verdict = "there was nothing to check (slow checks run with --whole)"
        if self.interrupted:
            verdict += ". Interrupted: some checks did not run"
        count = len(self.by_chapter())
        return (
            f"{len(self.quantities):,} values in {count} "
            f"chapter{'s' if count != 1 else ''} were checked "
            f"({own['FE']:,} of the FE model, {own['fast']:,} of the fast model): {verdict}."
        )


NUMBERS = [
    *("expected", "scale", *COMPUTED_BY),
    *(f"{what}.{by}" for what in ("error", "tolerance") for by in COMPUTED_BY),
]
COLUMNS = [
    *("chapter", "check", "source", "quantity", "kind"),
    *NUMBERS,
    *("mesh", "seconds", "bound", "passed"),
]


def _row(check: Check, quantity: Quantity) -> dict[str, object]:
    row: dict[str, object] = dict.fromkeys(COLUMNS, math.nan)
    row |= {
        "chapter": check.chapter,
        "check": check.name,
        "source": quantity.source,
        "quantity": quantity.name,
        "kind": str(quantity.kind),
        "expected": quantity.expected,
        "scale": abs(quantity.expected if quantity.scale is None else quantity.scale),
        "mesh": quantity.mesh,
        "seconds": check.seconds,
        "bound": quantity.bound,
        "passed": quantity.passed,
    }
    for by in quantity.models:
        row[by] = quantity.computed
        row[f"error.{by}"], row[f"tolerance.{by}"] = quantity.error, quantity.tolerance
    return row


def _side_by_side(frame: pandas.DataFrame) -> pandas.DataFrame:
    """Return the rows with the values of both models for one quantity in one row."""
    same = ["chapter", "source", "quantity", "expected"]
    by = frame["tolerance.FE"].notna() * 2 + frame["tolerance.fast"].notna()
    nth = frame.assign(by=by).groupby([*same, "by"], dropna=False).cumcount()
    rows = frame.groupby([*same, nth], sort=False, dropna=False, as_index=False)
    merged = rows.agg(
        {
            name: "max" if name in ("seconds", "mesh") else "min" if name == "passed" else "first"
            for name in COLUMNS
            if name not in same
        }
    )
    return merged[COLUMNS]
