"""Reader of result folders; errors name the wrong file and the reason."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from fem.case.case import Case
from fem.core.errors import InputError
from fem.core.text_file import read_text
from fem.quantities.column import find, measures_of
from fem.quantities.quantity import Trait
from fem.results.environment import Environment
from fem.results.folder import RECORD, Contents, FolderError, check_files, read_record
from fem.results.run import Run
from fem.results.run_record import TABLE, ResultRecord
from fem.results.vtu_series import read_series

NOT_REPLACED = {
    Contents.STUDY: "a study",
    Contents.UNFINISHED_STUDY: "an unfinished study",
    Contents.OTHER_FORMAT: "a result of another format",
    Contents.DAMAGED: f"a {RECORD} that cannot be read",
}
"""Contents that a result does not replace."""


def read_result(folder: Path, *, shapes: bool = True) -> tuple[Case, list[Run], Environment]:
    """Return the case, the runs and the environment of the result in a folder.

    Parameters
    ----------
    folder
        The folder.
    shapes
        Whether to read the shapes, which takes most of the time.

    Raises
    ------
    InputError
        If a file is missing, cannot be read, or does not belong to the others.
    """
    record = read_record(folder, ResultRecord)
    check_files(folder, record, [TABLE])
    case = Case.parse(record.case, f"{folder / RECORD}: case")
    if case.hash != record.case_hash:
        raise InputError(f"{folder / RECORD}: case: it differs from the solved case (case_hash)")
    rows = _rows(folder / TABLE, case)
    if {row["model"] for row in rows} != {run.model for run in record.runs}:
        raise InputError(f"{folder / RECORD}: runs: {TABLE} has rows of other models")
    runs = [run.run([row for row in rows if row["model"] == run.model]) for run in record.runs]
    if shapes:
        for run in runs:
            if run.model == "fe":
                run.shapes.extend(read_series(folder, record, case, run))
    return case, runs, Environment(record.versions, record.machine)


def _rows(file: Path, case: Case) -> list[dict[str, Any]]:
    """Return the step table; a cell is empty if the model lacks the column."""
    lines = csv.reader(read_text(file).splitlines())
    columns = next(lines, [])
    families = [family.name for family in case.threads]
    for measure in measures_of(families, traits=Trait.REQUIRED):
        if measure.column not in columns:
            raise InputError(f"{file}: the column {measure.column} is missing")
    converters = {name: _converter(name) for name in columns}
    return [
        {name: converters[name](cell) for name, cell in zip(columns, cells, strict=True) if cell}
        for cells in lines
    ]


def _converter(column: str) -> Callable[[str], Any]:
    """Return the function that reads a cell of a column; float for an unknown column."""
    measure = find(column)
    kind = measure.quantity.type if measure else float
    return {"True": True, "False": False}.__getitem__ if kind is bool else kind


def check_replaceable(folder: Path, case: Case, solves: Iterable[str]) -> None:
    """Check that a new result may replace the contents of a folder without loss.

    This is so if there is no run.json, for example after an interrupted first writing, or if the
    folder has a result of the same case and all its models and additional solves are solved again.

    Parameters
    ----------
    folder, case
        The folder, and the case to be solved.
    solves
        Models and additional solves to be done, as in :attr:`ResultRecord.solves`.

    Raises
    ------
    InputError
        If data would be lost.
    """
    try:
        record = read_record(folder, ResultRecord)
        earlier = Case.parse(record.case)
    except FolderError as error:
        loss = NOT_REPLACED.get(error.contents, "")
    except InputError:
        loss = NOT_REPLACED[Contents.DAMAGED]
    else:
        lost = ", ".join(sorted(set(record.solves) - set(solves)))
        loss = f"a result with solves that are not requested now: {lost}" if lost else ""
        if earlier.hash != case.hash:
            loss = f'the result of another case, "{earlier.title}"'
    if loss:
        options = "choose another folder (--out), or replace it (--overwrite)"
        raise InputError(f"{folder}: contains {loss}; {options}")
