"""A result folder read back, or a sentence that says which file is wrong and how."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from itertools import islice
from pathlib import Path
from typing import Any

from fem.case.case import Case
from fem.core.errors import InputError
from fem.core.text_file import text_of
from fem.quantities.column import find, measures_of
from fem.quantities.quantity import Trait
from fem.results.consistency import contradiction
from fem.results.environment import Origin
from fem.results.run import Run
from fem.results.run_record import Provenance, RunTold, read_provenance
from fem.results.vtu_series import read_series

MOST = 1e12
"""No figure of a device comes near to this, in any of the units of the columns."""

NEARLY = 1e-9
"""Pressures of run.json and of the step table, which are written in full, are as alike as this."""


def read_result(folder: Path, *, shapes: bool = True) -> tuple[Case, list[Run], Origin]:
    """Return the case, the runs and the origin of the result in a folder.

    Parameters
    ----------
    folder
        The folder.
    shapes
        Whether to read its shapes, which takes most of the time.

    Raises
    ------
    InputError
        If a file is missing, cannot be read, or does not hold what it should.
    """
    if not folder.is_dir():
        fault = "this is a file; the folder of a result is due"
        raise InputError(f"{folder}: {fault if folder.exists() else 'there is no such folder'}")
    file = folder / "run.json"
    told = read_provenance(file)
    case = Case.parse(_without_nulls(told.case), f"{file}: case")
    runs = _runs(folder / "steps.csv", case, told)
    if shapes:
        for run in runs:
            if run.model == "fe":
                run.shapes.extend(read_series(folder, case, run))
    return case, runs, Origin(told.versions, told.machine)


def _without_nulls(data: Any) -> Any:
    """Return a table laid out as in a TOML file, which has no null."""
    if isinstance(data, dict):
        return {key: _without_nulls(value) for key, value in data.items() if value is not None}
    return [_without_nulls(value) for value in data] if isinstance(data, list) else data


def _runs(file: Path, case: Case, told: Provenance) -> list[Run]:
    """Return the runs without shapes, a row of the step table to each state that is told."""
    table = _rows(file, case)
    rows = iter(table)
    runs = [_run(run, list(islice(rows, len(run.history)))) for run in told.runs]
    states = [(run.model, state) for run in told.runs for state in run.history]
    alike = len(states) == len(table) and all(
        (row["model"], row["step"]) == (model, state.step)
        and math.isclose(row["pressure_kPa"], state.pressure_kPa, rel_tol=NEARLY, abs_tol=NEARLY)
        for row, (model, state) in zip(table, states, strict=True)
    )
    if not alike:
        raise InputError(f"{file}: it has other steps than run.json")
    for line, row in enumerate(table, start=2):
        if fault := contradiction(row, case.tube):
            raise InputError(f"{file}: line {line}: {fault}")
    if len({run.model for run in runs}) < len(runs):
        raise InputError(f"{file.parent / 'run.json'}: runs: two are of the same model")
    return runs


def _run(told: RunTold, rows: list[dict[str, Any]]) -> Run:
    return Run(
        model=told.model,
        rows=rows,
        termination=told.termination,
        seconds=told.seconds,
        balance={key: math.nan if gap is None else gap for key, gap in told.balance.items()},
        mesh=told.mesh,
        incomplete=told.incomplete,
    )


def _rows(file: Path, case: Case) -> list[dict[str, Any]]:
    """Return the step table."""
    lines = csv.reader(text_of(file).splitlines())
    columns = next(lines, [])
    families = [family.name for family in case.threads]
    needed = [measure.column for measure in measures_of(families, traits=Trait.REQUIRED)]
    for name in columns:
        if columns.count(name) > 1:
            raise InputError(f"{file}: the column {name} is there twice")
    for name in needed:
        if name not in columns:
            raise InputError(f"{file}: the column {name} is missing")
    kinds = {name: _kind(name) for name in columns}
    rows = []
    for line, cells in enumerate(lines, start=2):
        rows.append(_row(f"{file}: line {line}", kinds, cells, needed))
    return rows


def _row(where: str, kinds: dict[str, Any], cells: list[str], needed: list[str]) -> dict[str, Any]:
    if len(cells) != len(kinds):
        raise InputError(f"{where}: {len(cells)} cells to {len(kinds)} columns")
    row: dict[str, Any] = {}
    for name, cell in zip(kinds, cells, strict=True):
        if cell:  # an empty one is a column of another model
            try:
                row[name] = kinds[name](cell)
            except (ValueError, KeyError):
                raise InputError(f'{where}: {name} cannot be "{cell}"') from None
        elif name in needed:
            raise InputError(f"{where}: {name} is empty")
    for name in needed:
        if name != "model" and not abs(row[name]) < MOST:
            raise InputError(f'{where}: {name} cannot be "{row[name]}"')
    return row


def _kind(column: str) -> Callable[[str], Any]:
    """Return what reads a cell of a column; a number where the table of quantities lacks it."""
    measure = find(column)
    kind = measure.quantity.type if measure else float
    return {"True": True, "False": False}.__getitem__ if kind is bool else kind
