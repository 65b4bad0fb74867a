"""The data of a case file, changed by dotted keys."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fem.core.errors import InputError

DRIVES = ("pressure", "volume", "gas")
ALTERNATIVES = (DRIVES, ("angle", "ring_turn"), ("displacement", "twist"))
"""Keys of one table of which only one is given."""


def edit(data: dict[str, Any], changes: Mapping[str, Any]) -> None:
    """Put values into `data`, laid out as in a TOML file; their keys have ``__`` for the dot.

    A value takes the place of its alternatives, unless they are among the changes themselves; the
    value None takes a key away.

    Raises
    ------
    InputError
        If there is no such table.
    """
    for key, value in changes.items():
        *parents, last = key.split("__")
        place: Any = data
        try:
            for parent in parents:
                place = place[int(parent) if parent.isdigit() else parent]
            place[last] = value
        except (KeyError, IndexError, TypeError):
            raise InputError(f"case: there is no key {key.replace('__', '.')}") from None
        if value is None:
            del place[last]
            continue
        for rival in _rivals(last, place):
            if "__".join([*parents, rival]) not in changes:
                place.pop(rival, None)


def _rivals(key: str, table: Mapping[str, Any]) -> list[str]:
    """Return the keys that cannot stand beside `key` in the table."""
    if key == "material":  # it says what law and constants are
        return [other for other in table if other not in ("material", "bulk_ratio")]
    return [rival for keys in ALTERNATIVES if key in keys for rival in keys if rival != key]
