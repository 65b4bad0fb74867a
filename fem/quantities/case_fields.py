"""Fields of a case by the names that users write, and their columns in a table."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from fem.case.case import Case
from fem.core.errors import InputError
from fem.core.units import split
from fem.quantities.column import find
from fem.quantities.quantity import with_suffix

THREADS = "threads"

SET = ".set"
"""Ending of the column of a field if a quantity has the same name: end_force_N.set."""


def changes(case: Case, setting: Mapping[str, Any]) -> dict[str, Any]:
    """Return a setting, a value for each field, as the arguments of :meth:`Case.changed`.

    Raises
    ------
    InputError
        If the case has no such family.
    """
    return {"__".join(_place(case, field)): value for field, value in setting.items()}


def column(case: Case, field: str) -> str:
    """Return the column of a field, with its unit: angle_deg.A, tube_length_mm, slack.B."""
    name, _ = _cell(case, case.data, field)
    return name


def cells(case: Case, fields: Iterable[str]) -> dict[str, Any]:
    """Return the values of `fields` by their columns: numbers in the shown unit, or text."""
    data = case.data
    return dict(_cell(case, data, field) for field in fields)


def written(case: Case, data: dict[str, Any], field: str) -> Any:
    """Return the value of a field in the data of a case, None if there is no such field.

    Raises
    ------
    InputError
        If the case has no such family.
    """
    value: Any = data
    for part in _place(case, field):
        try:
            value = value[int(part) if part.isdigit() else part]
        except (KeyError, IndexError, TypeError):
            return None
    return value


def _cell(case: Case, data: dict[str, Any], field: str) -> tuple[str, Any]:
    value = written(case, data, field)
    if value is None:
        raise InputError(f'field "{field}": the case has no such field')
    if isinstance(value, dict | list):
        raise InputError(f'field "{field}": this is a table; give one of its keys')
    number, unit = split(value) or (value, "")
    parts = field.split(".")
    family = f".{parts[1]}" if parts[0] == THREADS else ""
    name = with_suffix("_".join(parts[2:] if family else parts), unit)
    return f"{name}{SET if find(name) else family}", number


def _place(case: Case, field: str) -> list[str]:
    """Return the path of keys to a field, a family by its index."""
    parts = field.split(".")
    if parts[0] != THREADS or len(parts) < 3:
        return parts
    names = [family.name for family in case.threads]
    if parts[1] not in names:
        known = ", ".join(names) or "none"
        raise InputError(f'field "{field}": the case has no family "{parts[1]}"; families: {known}')
    return [THREADS, str(names.index(parts[1])), *parts[2:]]
