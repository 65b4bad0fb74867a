"""The table of a run, as Markdown: a row for each source and kind of quantity."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from validation.check import Quantity
from validation.kinds import Kind
from validation.suite import COMPUTED_BY, Chapter, Check, SuiteResult, chapters

HOW_TO_READ = """\
Each row is for the values of one kind from one source. The columns "FE", "fast" and "formula" give
the number of values, and the error and the tolerance of the value that is closest to its tolerance,
or exceeds it most: `24: 2.1e-05 ≤ 3e-04`. Both are relative to the expected value, or to a scale
that the chapter names where the expected value is zero or small; where that scale is 1, they are in
the unit of the quantity. The error of a value that must only be small is the value itself.
"formula" is for a formula of the chapter compared with worked numbers, or another solver compared
with statics. A value of a part that both models share is counted in both columns, but once in the
total."""

FULL_LIST = """\
`tubewright validate --whole --csv FILE` writes the full list: each value with its expected value,
mesh and check. The page of `tubewright validate` has the same list, with formulas and the reason
for each tolerance."""

CHAPTERS = ["chapter", "subject", "sources and how they were read", "checks", "values"]
ROWS = ["chapter", "kind of quantity", "source", "values", *COMPUTED_BY]

LAST = (Kind.EQUILIBRIUM, Kind.SYMMETRY)
"""Kinds that nearly every chapter has; they end its rows."""


def markdown(result: SuiteResult) -> str:
    """Return summary, chapters, and a row for each source and kind of quantity."""
    ran = result.by_chapter()
    parts = ["# Validation", result.summary(), f"{HOW_TO_READ}\n\n{FULL_LIST}"]
    parts += ["## Chapters", _table(CHAPTERS, _chapter_rows(ran))]
    parts += ["## Worst errors", _table(ROWS, _rows(ran))]
    failures = [
        *(f"- **ended with an error**: {c.chapter}, {c.name}" for c in crashed(result)),
        *(f"- **skipped**: {reason_of_skip(check)}" for check in result.skipped),
    ]
    return "\n\n".join([*parts, *(["\n".join(failures)] if failures else [])]) + "\n"


def _chapter_rows(ran: dict[str, list[Check]]) -> Iterator[list[str]]:
    known = chapters()
    for name, checks in ran.items():
        values = sum(len(check.quantities) for check in checks)
        title = known[name].title.removesuffix(".")
        link = f"[{name}](test_{name}.py)"
        yield [link, title, sources(known[name]), str(len(checks)), str(values)]


def _rows(ran: dict[str, list[Check]]) -> Iterator[list[str]]:
    for name, checks in ran.items():
        groups: dict[tuple[str, str], list[Quantity]] = {}
        for quantity in (quantity for check in checks for quantity in check.quantities):
            groups.setdefault((quantity.source, str(quantity.kind)), []).append(quantity)
        first = name  # a chapter is named once
        for (source, kind), group in sorted(groups.items(), key=lambda item: item[0][1] in LAST):
            yield [first, kind, source, str(len(group)), *(worst(group, by) for by in COMPUTED_BY)]
            first = ""


def worst(group: Sequence[Quantity], by: str) -> str:
    """Return number, error and tolerance of the value nearest to its tolerance; empty if none."""
    own = [quantity for quantity in group if by in quantity.models]
    if not own:
        return ""
    last = max(own, key=lambda quantity: (quantity.utilisation, quantity.error))
    sign, mark = ("≤", "") if all(quantity.passed for quantity in own) else (">", " **OUTSIDE**")
    return f"{len(own)}: {short(last.error)} {sign} {short(last.tolerance)}{mark}"


def short(value: float) -> str:
    """Return a number with two digits."""
    return re.sub(r"\.0e", "e", f"{value:.1e}") if value else "0"


def _table(head: list[str], rows: Iterator[list[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(
        f"| {' | '.join(cell.replace('|', r'\|') for cell in line)} |" for line in lines
    )


def sources(chapter: Chapter) -> str:
    """Return how the sources of a chapter were read."""
    return " ".join(f"[{key}]: {reading}." for key, reading in chapter.readings.items())


def crashed(result: SuiteResult) -> Iterator[Check]:
    """Return the checks that failed for another reason than a value outside its tolerance."""
    return (check for check in result.checks if check.crashed)


def reason_of_skip(check: Check) -> str:
    """Return which check was skipped, and why."""
    return f"{check.chapter}, {check.name}: {check.omission}"
