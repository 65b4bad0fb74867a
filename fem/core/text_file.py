"""Reading of text and TOML files, with messages that name the file."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from fem.core.errors import InputError


def read_text(file: Path, fault: type[InputError] = InputError) -> str:
    """Return the text of a file in UTF-8.

    Raises
    ------
    InputError
        If it is missing, cannot be read, or is not text; of the class `fault`.
    """
    try:
        return file.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise fault(f"{file}: cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise fault(f"{file}: not a text file in UTF-8") from None


def read_toml(file: Path, fault: type[InputError]) -> dict[str, Any]:
    """Return the tables of a TOML file.

    Raises
    ------
    InputError
        If there is no such file, or it is not valid TOML; of the class `fault`.
    """
    try:
        return tomllib.loads(read_text(file, fault))
    except InputError:
        raise
    except RecursionError:
        reason = "too deeply nested"
    except tomllib.TOMLDecodeError as error:
        reason = str(error)
    except ValueError:
        reason = "a number has too many digits"
    raise fault(f"{file}: not valid TOML: {reason}")
