"""Bench data: a CSV file whose header carries the units, read strictly.

Each row is one measurement: the setting, the pressure, what was measured. All that is wrong with a
file is told at once, each with its line.
"""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fem.case.case import Case
from fem.core.errors import InputError
from fem.core.text_file import read_text
from fem.measurements.columns import (
    GAUGE,
    REPEAT,
    Extra,
    Figure,
    Meaning,
    Setting,
    meaning,
    measures,
)
from fem.measurements.rows import Problems, RowReader
from fem.quantities.column import STD, Measure

if TYPE_CHECKING:
    import pandas


@dataclass(frozen=True)
class Bench:
    """What was measured.

    Attributes
    ----------
    name, hash
        Name of the file, and SHA-256 of its bytes.
    notes
        Its comment lines above the header.
    settings, fields
        Columns of the table that say how the device was set, and the fields that each sets.
    rules
        Those of them that are text, such as a slack rule.
    measures
        What was measured.
    extras
        Columns of the file that nothing is made of.
    table
        A row to each measurement: ``line`` of the file, ``case`` (key), the settings, ``repeat``
        where there is such a column, ``pressure_kPa``, then each measured quantity as in the step
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
    rules: list[str]
    measures: list[Measure]
    extras: list[Extra]
    table: pandas.DataFrame
    cases: dict[str, Case]


def read_bench(path: str | Path, base: Case) -> Bench:
    """Read a bench file.

    Parameters
    ----------
    path
        The CSV file; docs/comparison.md describes it.
    base
        Case that the settings of the file change, mostly the `base` of a study.

    Raises
    ------
    InputError
        If it cannot be read, or anything in it cannot be used: a line to each fault.

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
        problems.stop()
        raise InputError(f"{path}: a header and at least one measurement are due")
    (line, heads), *rows = rows
    columns = _meanings(heads, line, base, problems)
    reader = RowReader(columns, heads, base, problems)
    records = [reader.record(line, cells) for line, cells in rows]
    problems.stop()
    import pandas

    table = pandas.DataFrame(records)
    sets = [column for column in columns if isinstance(column, Setting)]
    figures = [column for column in columns if isinstance(column, Figure)]
    first = next(iter(reader.cases.values()))
    settings = [column.shown(first, None)[0] for column in sets]
    order = ["line", "case", *settings, *({REPEAT} & {*table}), GAUGE.column]
    return Bench(
        name=path.name,
        hash=hashlib.sha256(path.read_bytes()).hexdigest(),
        notes=[comment.removeprefix("#").strip() for comment in lines[:above]],
        settings=settings,
        fields=[column.fields for column in sets],
        rules=[name for name in settings if pandas.api.types.is_string_dtype(table[name])],
        measures=list(dict.fromkeys(one.measure for one in figures if one.measure != GAUGE)),
        extras=[column for column in columns if isinstance(column, Extra)],
        table=table[list(dict.fromkeys([*order, *(one.column for one in figures)]))],
        cases=reader.cases,
    )


def _rows(lines: Sequence[str], above: int, problems: Problems) -> list[tuple[int, list[str]]]:
    """Return the cells of each row that is neither blank nor a comment, with its line."""
    rest, comments = iter(lines), 0
    reader = csv.reader(rest, strict=True)
    rows: list[tuple[int, list[str]]] = []
    while True:
        at = reader.line_num + comments
        if at < len(lines) and lines[at].startswith("#"):  # a break in quotes is no such line
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


def _meanings(heads: Sequence[str], line: int, base: Case, problems: Problems) -> list[Meaning]:
    """Return what each column means; one with a fault means nothing."""
    if len(heads) == 1 and ";" in heads[0]:
        problems.add(line, "put commas between the columns, and points into the figures")
        problems.stop()
    columns: list[Meaning] = []
    taken: dict[str, str] = {}
    faulty = set()
    for head in heads:
        column: Meaning = Extra(head, "")
        try:
            column = meaning(head, base)
        except InputError as error:
            problems.add(line, f'column "{head}": {error}')
            faulty.add(head.partition("[")[0].strip())
        for key in column.gives:
            if key in taken:
                problems.add(line, f'column "{head}": the column "{taken[key]}" gives the same')
            taken.setdefault(key, head)
        columns.append(column)
    known = {GAUGE.name: GAUGE, **measures(base)}
    given = {measure.column for name, measure in known.items() if name in faulty} | {*taken}
    _check_figures(given, line, base, problems)
    return columns


def _check_figures(given: set[str], line: int, base: Case, problems: Problems) -> None:
    """Look whether pressure and measured quantities are there."""
    known = measures(base)
    if GAUGE.column not in given:
        problems.add(line, f'the column "{GAUGE.words}" is missing')
    if not any(measure.column in given for measure in known.values()):
        names = ", ".join(known)
        problems.add(line, f"nothing is measured; a column to one of these is due: {names}")
    for measure in known.values():
        if measure.std in given and measure.column not in given:
            name = measure.name
            problems.add(line, f'the column "{name}{STD}" is there, but not "{name}"')
