"""Files in TOML as plain tables."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from fem.core.errors import InputError


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
