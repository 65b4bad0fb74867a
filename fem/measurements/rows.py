"""Rows of a bench file: the case of each setting, the measured values, and errors with lines."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from fem.case.case import Case
from fem.core.errors import InputError
from fem.core.renamed import with_new_values
from fem.core.units import NUMBER
from fem.measurements.columns import (
    PRESSURE,
    REPEAT,
    Column,
    SettingColumn,
    UnusedColumn,
    ValueColumn,
)
from fem.quantities.case_fields import changes
from fem.quantities.column import STD

DECIMALS = 9
"""Decimals to which pressures (kPa) are compared."""

MAX_LINES = 4
"""Greatest number of lines that a message lists."""


@dataclass
class Problems:
    """Errors of a bench file: each once, with its lines."""

    file: str
    lines: dict[str, list[int]] = field(default_factory=dict)

    def add(self, line: int, text: str) -> None:
        """Add an error."""
        self.lines.setdefault(text, []).append(line)

    def raise_if_any(self) -> None:
        """Raise if there are errors.

        Raises
        ------
        InputError
            With a line for each error, in the order of the lines of the file.
        """
        messages = []
        for text, lines in sorted(self.lines.items(), key=lambda entry: entry[1][0]):
            few = ", ".join(map(str, lines[:MAX_LINES]))
            more = f" and {len(lines) - MAX_LINES} more" if len(lines) > MAX_LINES else ""
            messages.append(f"{self.file}: line{'s' if len(lines) > 1 else ''} {few}{more}: {text}")
        if messages:
            raise InputError("\n".join(messages))


class RowReader:
    """Reads rows with the columns of the header, and collects their errors.

    Attributes
    ----------
    cases
        The case of each valid setting, by its key.
    """

    def __init__(
        self, columns: Sequence[Column], heads: Sequence[str], base: Case, problems: Problems
    ) -> None:
        self._columns, self._heads = columns, heads
        self._base, self._problems = base, problems
        self._valid = not problems.lines  # else a setting or the column "repeat" may be missing
        self.cases: dict[str, Case] = {}
        self._known: dict[tuple[Any, ...], Case | str] = {}
        self._lines: dict[tuple[Any, ...], int] = {}

    def record(self, line: int, cells: Sequence[str]) -> dict[str, Any]:
        """Return a row of the table; not valid if it has an error."""
        if len(cells) != len(self._columns):
            self._problems.add(line, f"{len(cells)} cells; the header has {len(self._columns)}")
            return {}
        values: dict[str, Any] = {}
        setting: dict[str, Any] = {}
        valid = True
        for column, head, cell in zip(self._columns, self._heads, cells, strict=True):
            try:
                match column:
                    case UnusedColumn():
                        continue
                    case SettingColumn():
                        setting |= dict.fromkeys(column.fields, self._value(column, cell))
                    case ValueColumn():
                        values[column.column] = _number(_filled(cell), column)
                    case _:
                        values[REPEAT] = _filled(cell)
            except ValueError as error:
                self._problems.add(line, f"{head}{f' = "{cell}"' if cell else ''}: {error}")
                valid = False
        return self._placed(line, setting, values) if valid and self._valid else {}

    def _value(self, column: SettingColumn, cell: str) -> Any:
        value = column.value(_filled(cell))
        return with_new_values(value, self._problems.file, column.fields[0])

    def _placed(self, line: int, setting: dict[str, Any], values: dict[str, Any]) -> dict[str, Any]:
        """Return the row with its case, if that is valid and not measured at the same pressure."""
        case = self._case(setting)
        if isinstance(case, str):
            self._problems.add(line, case)
            return {}
        place = case.key, round(values[PRESSURE.column], DECIMALS), values.get(REPEAT)
        if place in self._lines:
            self._problems.add(
                line,
                f"the same setting and pressure as line {self._lines[place]}; number repeated "
                f'measurements in a column "{REPEAT}"',
            )
        self._lines.setdefault(place, line)
        self.cases[case.key] = case
        columns = [column for column in self._columns if isinstance(column, SettingColumn)]
        settings = dict(column.table_cell(case, setting[column.fields[0]]) for column in columns)
        return {"line": line, "case": case.key, **settings, **values}

    def _case(self, setting: dict[str, Any]) -> Case | str:
        """Return the case of a setting, or the text of its error."""
        key = tuple(setting.items())
        if key not in self._known:
            try:
                self._known[key] = self._base.changed(**changes(self._base, setting))
            except InputError as error:
                self._known[key] = re.sub(r"(^|\n)case: ", r"\1", str(error)).replace("\n", "; ")
        return self._known[key]


def _filled(cell: str) -> str:
    if not cell:
        raise ValueError("this cell is empty")
    return cell


def _number(cell: str, column: ValueColumn) -> float:
    """Return a value in the unit of the step table."""
    number = float(cell) * column.factor if re.fullmatch(NUMBER, cell) else math.nan
    if not math.isfinite(number):
        raise ValueError("this is not a number")
    if column.column.endswith(STD) and number <= 0:
        raise ValueError("a standard deviation must be greater than 0")
    return number
