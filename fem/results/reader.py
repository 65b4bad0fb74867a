"""A result folder read back, or a sentence that says which file is wrong and how."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from fem.case.case import Case
from fem.core.errors import InputError
from fem.core.text_file import text_of
from fem.quantities.column import find, measures_of
from fem.quantities.quantity import Trait
from fem.results.environment import Origin
from fem.results.folder import RECORD, Contents, FolderError, check_files, read_record
from fem.results.run import Run
from fem.results.run_record import TABLE, ResultRecord
from fem.results.vtu_series import read_series

OTHERS = {
    Contents.STUDY: "a study",
    Contents.UNFINISHED_STUDY: "a study without its tables",
    Contents.OTHER_FORMAT: "a result of another format",
    Contents.DAMAGED: f"a {RECORD} that cannot be read",
}
"""What is not replaced by a result."""


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
        If a file is missing, cannot be read, or does not belong to the others.
    """
    record = read_record(folder, ResultRecord)
    check_files(folder, record, [TABLE])
    case = Case.parse(record.case, f"{folder / RECORD}: case")
    if case.hash != record.case_hash:
        raise InputError(f"{folder / RECORD}: case: it is not the one that was solved")
    rows = _rows(folder / TABLE, case)
    if {row["model"] for row in rows} != {run.model for run in record.runs}:
        raise InputError(f"{folder / RECORD}: runs: {TABLE} has the rows of other models")
    runs = [run.run([row for row in rows if row["model"] == run.model]) for run in record.runs]
    if shapes:
        for run in runs:
            if run.model == "fe":
                run.shapes.extend(read_series(folder, record, case, run))
    return case, runs, Origin(record.versions, record.machine)


def _rows(file: Path, case: Case) -> list[dict[str, Any]]:
    """Return the step table; an empty cell is a column of another model."""
    lines = csv.reader(text_of(file).splitlines())
    columns = next(lines, [])
    families = [family.name for family in case.threads]
    for measure in measures_of(families, traits=Trait.REQUIRED):
        if measure.column not in columns:
            raise InputError(f"{file}: the column {measure.column} is missing")
    kinds = {name: _kind(name) for name in columns}
    return [
        {name: kinds[name](cell) for name, cell in zip(columns, cells, strict=True) if cell}
        for cells in lines
    ]


def _kind(column: str) -> Callable[[str], Any]:
    """Return what reads a cell of a column; a number where the table of quantities lacks it."""
    measure = find(column)
    kind = measure.quantity.type if measure else float
    return {"True": True, "False": False}.__getitem__ if kind is bool else kind


def check_replaceable(folder: Path, case: Case, solves: Iterable[str]) -> None:
    """Check that a new result may replace what a folder holds without a loss.

    That is so where there is no run.json, as after an interrupted first writing, or a result of the
    same case whose models and additional solves are all solved again.

    Parameters
    ----------
    folder, case
        The folder, and the case to be solved.
    solves
        Models and additional solves to come, as in :attr:`ResultRecord.solves`.

    Raises
    ------
    InputError
        If something would be lost.
    """
    try:
        record = read_record(folder, ResultRecord)
        earlier = Case.parse(record.case)
    except FolderError as error:
        loss = OTHERS.get(error.contents, "")
    except InputError:
        loss = OTHERS[Contents.DAMAGED]
    else:
        lost = sorted(set(record.solves) - set(solves))
        loss = f"a result with more than is solved now: {', '.join(lost)}" if lost else ""
        if earlier.hash != case.hash:
            loss = f'the result of another case, "{earlier.title}"'
    if loss:
        way = "take another folder (--out), or replace it (--overwrite)"
        raise InputError(f"{folder}: it holds {loss}; {way}")
