"""Renamed values and columns of user files, old and new.

An old value in a file is replaced, and a notice names file, field, old and new value. Where a user
names a column, an old name is refused, and the message names the new one.
"""

from __future__ import annotations

import os
import warnings
from pathlib import Path
from typing import Any

VALUES = {"hold": {"gliding": "sliding", "free path": "geodesic"}}
"""New value by field and old value."""

COLUMNS = {
    "demanded": "requested",
    "taut": "taut_fraction",
    "thread_used": "thread_utilisation",
    "rubber_used": "rubber_utilisation",
}
"""New name by old name, without family."""

PACKAGE = (f"{Path(__file__).parents[1]}{os.sep}",)


class RenamedWarning(FutureWarning):
    """An old value was replaced; the text names file, field, old and new value."""


def with_new_values(data: Any, file: str, field: str = "") -> Any:
    """Return the tables of a file with new values in place of old ones; warn of each.

    Parameters
    ----------
    data
        A table, a list or a value of the file. The last part of its key names a field; in a table
        with the key ``field``, as in a study, the key ``values`` has values of that field.
    file
        Name of the file, for the notice.
    field
        Where `data` is in the file.
    """
    match data:
        case dict():
            at = {key: f"{field}.{key}".removeprefix(".") for key in data}
            if "field" in data and "values" in data:
                at["values"] = str(data["field"])
            return {key: with_new_values(value, file, at[key]) for key, value in data.items()}
        case list() | tuple():
            return [
                with_new_values(
                    part, file, f"{field}[{number}]" if isinstance(part, dict) else field
                )
                for number, part in enumerate(data, 1)
            ]
        case str() if new := VALUES.get(field.rpartition(".")[2], {}).get(data):
            text = f'{file}: {field} = "{data}": this value was renamed; write "{new}"'
            warnings.warn(text, RenamedWarning, skip_file_prefixes=PACKAGE)
            return new
    return data


def renamed_to(column: str) -> str:
    """Return the part of a message that names the new column; empty if it was not renamed."""
    name, dot, family = column.partition(".")
    return f', renamed to "{COLUMNS[name]}{dot}{family}"' if name in COLUMNS else ""
