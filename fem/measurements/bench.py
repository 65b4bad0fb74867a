"""Bench data: a CSV file with units in its header.

Each row is one measurement: the setting, the pressure, the measured values. All errors of a file
are reported together, each with its line.
"""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from fem.case.case import Case
from fem.core.errors import InputError
from fem.core.text_file import read_text
from fem.measurements.columns import (
    PRESSURE,
    REPEAT,
    Column,
    SettingColumn,
    UnusedColumn,
    ValueColumn,
    column_of,
    measures,
)
from fem.measurements.rows import Problems, RowReader
from fem.quantities.column import STD, Measure

if TYPE_CHECKING:
    import pandas


@dataclass(frozen=True)
class Bench:
    """Bench data of one file.

    Attributes
    ----------
    name, hash
        Name of the file, and SHA-256 of its bytes.
    notes
        Its comment lines above the header.
    settings, fields
        Columns of the table with settings of the device, and the fields of the case for each.
    text_settings
        Settings that are text, such as a slack rule.
    measures
        The measured quantities.
    unused
        Columns of the file that are not used.
    table
        One row per measurement: ``line`` of the file, ``case`` (key), the settings, ``repeat``
        if there is such a column, ``pressure_kPa``, then each measured quantity as in the step
        table, and ``<column>.std``.
    cases
        The case of each setting, by its key.

    Examples
    --------
    >>> bench.table[["pressure_kPa", "twist_deg", "twist_deg.std"]].shape
    (174, 3)
    """

    name: str
    hash: str
    notes: list[str]
    settings: list[str]
    fields: list[tuple[str, ...]]
    text_settings: list[str]
    measures: list[Measure]
    unused: list[UnusedColumn]
    table: pandas.DataFrame = field(repr=False)
    cases: dict[str, Case] = field(repr=False)


def read_bench(path: str | Path, base: Case) -> Bench:
    """Read a bench file.

    Parameters
    ----------
    path
        The CSV file; docs/comparison.md describes it.
    base
        Case that the settings of the file change, usually the `base` of a study.

    Raises
    ------
    InputError
        If it cannot be read or is not valid; one line for each error.

    Examples
    --------
    >>> bench = read_bench("cases/greenhouse_wrist.bench.csv", case)
    """
    path = Path(path)
    lines = read_text(path).splitlines()
    above = next((n for n, line in enumerate(lines) if not line.startswith("#")), len(lines))
    problems = Problems(str(path))
    rows = _rows(lines[above:], above, problems)
    if len(rows) < 2:
        problems.raise_if_any()
        raise InputError(f"{path}: a header and at least one measurement are required")
    (line, heads), *rows = rows
    columns = _columns(heads, line, base, problems)
    reader = RowReader(columns, heads, base, problems)
    records = [reader.record(line, cells) for line, cells in rows]
    problems.raise_if_any()
    import pandas

    table = pandas.DataFrame(records)
    sets = [column for column in columns if isinstance(column, SettingColumn)]
    values = [column for column in columns if isinstance(column, ValueColumn)]
    first = next(iter(reader.cases.values()))
    settings = [column.table_cell(first, None)[0] for column in sets]
    order = ["line", "case", *settings, *({REPEAT} & {*table}), PRESSURE.column]
    return Bench(
        name=path.name,
        hash=hashlib.sha256(path.read_bytes()).hexdigest(),
        notes=[comment.removeprefix("#").strip() for comment in lines[:above]],
        settings=settings,
        fields=[column.fields for column in sets],
        text_settings=[name for name in settings if pandas.api.types.is_string_dtype(table[name])],
        measures=list(dict.fromkeys(one.measure for one in values if one.measure != PRESSURE)),
        unused=[column for column in columns if isinstance(column, UnusedColumn)],
        table=table[list(dict.fromkeys([*order, *(one.column for one in values)]))],
        cases=reader.cases,
    )


def _rows(lines: Sequence[str], above: int, problems: Problems) -> list[tuple[int, list[str]]]:
    """Return line and cells of each row that is neither blank nor a comment."""
    rest, comments = iter(lines), 0
    reader = csv.reader(rest, strict=True)
    rows: list[tuple[int, list[str]]] = []
    while True:
        at = reader.line_num + comments
        if at < len(lines) and lines[at].startswith("#"):  # not a line break inside quotes
            next(rest)
            comments += 1
            continue
        line = above + at + 1
        try:
            cells = next(reader)
        except StopIteration:
            return rows
        except csv.Error as error:
            problems.add(line, f"not valid CSV: {error}")
            return rows
        if cells:
            rows.append((line, [cell.strip() for cell in cells]))


def _columns(heads: Sequence[str], line: int, base: Case, problems: Problems) -> list[Column]:
    """Return the columns; one with an error counts as unused."""
    if len(heads) == 1 and ";" in heads[0]:
        problems.add(line, "write commas between the columns and decimal points in the numbers")
        problems.raise_if_any()
    columns: list[Column] = []
    taken: dict[str, str] = {}
    faulty = set()
    for head in heads:
        column: Column = UnusedColumn(head, "")
        try:
            column = column_of(head, base)
        except InputError as error:
            problems.add(line, f'column "{head}": {error}')
            faulty.add(head.partition("[")[0].strip())
        for key in column.keys:
            if key in taken:
                problems.add(line, f'column "{head}": "{taken[key]}" has the same quantity')
            taken.setdefault(key, head)
        columns.append(column)
    known = {PRESSURE.name: PRESSURE, **measures(base)}
    given = {measure.column for name, measure in known.items() if name in faulty} | {*taken}
    _check_required(given, line, base, problems)
    return columns


def _check_required(given: set[str], line: int, base: Case, problems: Problems) -> None:
    """Check that the pressure and a measured quantity are given."""
    known = measures(base)
    if PRESSURE.column not in given:
        problems.add(line, f'the column "{PRESSURE.axis_label}" is missing')
    if not any(measure.column in given for measure in known.values()):
        names = ", ".join(known)
        problems.add(line, f"a column with a measured quantity is required; allowed: {names}")
    for measure in known.values():
        if measure.std in given and measure.column not in given:
            name = measure.name
            problems.add(line, f'the column "{name}{STD}" requires a column "{name}"')
