"""The data of a case file as plain tables: read from TOML, changed by dotted keys."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fem.core.errors import InputError

DRIVES = ("pressure", "volume", "gas")
ALTERNATIVES = (DRIVES, ("angle", "ring_turn"), ("displacement", "twist"))
"""Keys of one table of which only one is given."""


def read_toml(path: str | Path) -> dict[str, Any]:
    """Return the tables of a TOML file.

    Raises
    ------
    InputError
        If there is no such file, or no TOML in it.
    """
    try:
        return tomllib.loads(Path(path).read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise InputError(f"{path}: not a text file in UTF-8") from None
    except RecursionError:
        raise InputError(f"{path}: not valid TOML: too deeply nested") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path}: not valid TOML: {error}") from None
    except ValueError:
        raise InputError(f"{path}: not valid TOML: a number has too many digits") from None


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
