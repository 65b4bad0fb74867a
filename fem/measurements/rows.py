"""Rows of a bench file, read under their header, and what is wrong with them.

Settings become cases, cells become figures.
"""

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
from fem.measurements.columns import GAUGE, REPEAT, Extra, Figure, Meaning, Setting
from fem.quantities.case_fields import changes
from fem.quantities.column import STD

SAME = 9
"""Pressures (kPa) that agree to so many decimals are the same."""


NAMED = 4
"""Of more lines with the same fault only the first are named."""


@dataclass
class Problems:
    """The message for bad lines of a bench file: each fault once, with its lines."""

    file: str
    lines: dict[str, list[int]] = field(default_factory=dict)

    def add(self, line: int, text: str) -> None:
        """Note a fault."""
        self.lines.setdefault(text, []).append(line)

    def stop(self) -> None:
        """Raise if there are any.

        Raises
        ------
        InputError
            With a line to each fault, in the order of the lines of the file.
        """
        told = []
        for text, lines in sorted(self.lines.items(), key=lambda entry: entry[1][0]):
            few = ", ".join(map(str, lines[:NAMED]))
            more = f" and {len(lines) - NAMED} more" if len(lines) > NAMED else ""
            told.append(f"{self.file}: line{'s' if len(lines) > 1 else ''} {few}{more}: {text}")
        if told:
            raise InputError("\n".join(told))


class RowReader:
    """Reads rows under their header, and notes what is wrong with them.

    Attributes
    ----------
    cases
        The case of each setting that can be used, by its key.
    """

    def __init__(
        self, columns: Sequence[Meaning], heads: Sequence[str], base: Case, problems: Problems
    ) -> None:
        self._columns, self._heads = columns, heads
        self._base, self._problems = base, problems
        self._sound = not problems.lines  # else what tells rows apart may be lacking
        self.cases: dict[str, Case] = {}
        self._known: dict[tuple[Any, ...], Case | str] = {}
        self._lines: dict[tuple[Any, ...], int] = {}

    def record(self, line: int, cells: Sequence[str]) -> dict[str, Any]:
        """Return a row of the table; of no use if a problem was noted."""
        if len(cells) != len(self._columns):
            self._problems.add(line, f"{len(cells)} cells; the header has {len(self._columns)}")
            return {}
        figures: dict[str, Any] = {}
        setting: dict[str, Any] = {}
        sound = True
        for column, head, cell in zip(self._columns, self._heads, cells, strict=True):
            try:
                match column:
                    case Extra():
                        continue
                    case Setting():
                        setting |= dict.fromkeys(column.fields, self._value(column, cell))
                    case Figure():
                        figures[column.column] = _number(_filled(cell), column)
                    case _:
                        figures[REPEAT] = _filled(cell)
            except ValueError as error:
                self._problems.add(line, f"{head}{f' = "{cell}"' if cell else ''}: {error}")
                sound = False
        return self._placed(line, setting, figures) if sound and self._sound else {}

    def _value(self, column: Setting, cell: str) -> Any:
        value = column.value(_filled(cell))
        return with_new_values(value, self._problems.file, column.fields[0])

    def _placed(
        self, line: int, setting: dict[str, Any], figures: dict[str, Any]
    ) -> dict[str, Any]:
        """Return the row with its case, if that can be used and was not measured before."""
        case = self._case(setting)
        if isinstance(case, str):
            self._problems.add(line, case)
            return {}
        place = case.key, round(figures[GAUGE.column], SAME), figures.get(REPEAT)
        if place in self._lines:
            self._problems.add(
                line,
                f"the same setting and pressure as line {self._lines[place]}; tell repeated "
                f'measurements apart by a column "{REPEAT}"',
            )
        self._lines.setdefault(place, line)
        self.cases[case.key] = case
        columns = [column for column in self._columns if isinstance(column, Setting)]
        shown = dict(column.shown(case, setting[column.fields[0]]) for column in columns)
        return {"line": line, "case": case.key, **shown, **figures}

    def _case(self, setting: dict[str, Any]) -> Case | str:
        """Return the case of a setting, or why there is none."""
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


def _number(cell: str, column: Figure) -> float:
    """Return a figure in the unit of the step table."""
    number = float(cell) * column.factor if re.fullmatch(NUMBER, cell) else math.nan
    if not math.isfinite(number):
        raise ValueError("this is no number")
    if column.column.endswith(STD) and number <= 0:
        raise ValueError("a standard deviation must be greater than 0")
    return number
