"""Provenance: mesh, runs, solver history, hash of the case, versions, machine, validation."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from importlib.resources import files
from itertools import chain, zip_longest
from typing import Any

from fem.quantities import table
from fem.report.limits import scientific
from fem.results.result import Result
from fem.results.run import Run
from fem.wording.run_sections import NAMES
from fem.wording.tables import PRESSURE
from fem.wording.termination import SOLVED_HOW
from fem.wording.text_table import TextTable

CHAPTER = re.compile(r"^\| \[(\w+)\]\(.+\) \| (.+?) \| .* \| (\d+) \| \d+ \|$", re.MULTILINE)
"""A row of `validation/TABLE.md` with name, title and number of checks of a chapter."""


def mesh_table(run: Run) -> TextTable | None:
    """Return the counts of a mesh; None for a model without a mesh."""
    if not run.mesh:
        return None
    rows = [
        [name.replace("_", " "), _text(value)] for name, value in run.mesh.items() if value != {}
    ]
    return TextTable("Mesh of the FE model", ["mesh", "count"], rows)


def runs_table(result: Result) -> TextTable:
    """Return the outcome and cost of each run."""
    rows = [
        ["last step reached", *("yes" if run.reached else "no" for run in result.runs)],
        ["states found", *(str(len(run.rows)) for run in result.runs)],
        ["Newton iterations", *(str(_iterations(run)) for run in result.runs)],
        ["wall time", *(f"{run.seconds:.3g} s" for run in result.runs)],
        ["additional solves", *(_additional(run) for run in result.runs)],
    ]
    return TextTable("Runs", ["run", *(NAMES[run.model] for run in result.runs)], rows)


def _iterations(run: Run) -> int:
    return sum(row[table.newton_iterations.column] for row in run.rows)


def _additional(run: Run) -> str:
    """Return the additional solves of the FE model."""
    return ", ".join(SOLVED_HOW[solve] for solve in run.additional) or "none"


def history_table(result: Result) -> TextTable:
    """Return iterations, stability and energy gap of each state, the models side by side."""
    titles = ["state"]
    solver = [("iterations", ""), (table.energy_gap.label, ""), ("", "")]
    for title, unit in [(PRESSURE.title, PRESSURE.shown_unit), *solver]:
        below = [f"{NAMES[run.model]}, {unit}" for run in result.runs]
        titles += [f"{title or 'equilibrium'}\n{line}" for line in below]
    rows = [
        [str(number), *chain.from_iterable(zip(*map(_history, states), strict=True))]
        for number, states in enumerate(zip_longest(*(run.rows for run in result.runs)))
    ]
    return TextTable("Solver history, state by state", titles, rows, text_columns=())


def _history(row: dict[str, Any] | None) -> list[str]:
    if row is None:
        return ["-"] * 4
    kind = "limit" if row["limit"] else "stable" if row["stable"] else "unstable"
    iterations = str(row[table.newton_iterations.column])
    return [PRESSURE.show(row), iterations, scientific(row[table.energy_gap.column]), kind]


def facts_table(caption: str, facts: Mapping[str, Any]) -> TextTable:
    """Return facts by name, one per row; a nested table is expanded into rows."""
    return TextTable(caption, ["name", "value"], [*_facts(facts)], text_columns=(0, 1))


def _facts(facts: Mapping[str, Any]) -> Iterable[list[str]]:
    for name, value in facts.items():
        if isinstance(value, Mapping):
            yield from ([str(key), _text(own)] for key, own in value.items())
        else:
            yield [name, _text(value)]


def _text(value: Any) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_text(own)}" for key, own in value.items())
    return str(value)


def validation_summary() -> tuple[str, TextTable] | None:
    """Return the summary of the last complete validation, and its chapters.

    None if the validation suite is not installed.
    """
    try:
        text = files("validation").joinpath("TABLE.md").read_text(encoding="utf-8")
    except (ModuleNotFoundError, FileNotFoundError):
        return None
    summary = " ".join(text.split("\n\n", 2)[1].split())
    titles = ["chapter of tubewright validate", "subject", "checks"]
    rows = CHAPTER.findall(text)
    return summary, TextTable("Chapters of the validation", titles, rows, text_columns=(0, 1))
