"""The text of a file of a result, or a sentence that says why it cannot be read."""

from __future__ import annotations

from pathlib import Path

from fem.core.errors import InputError


def text_of(file: Path) -> str:
    """Return the text of a file.

    Raises
    ------
    InputError
        If it is missing, cannot be read, or is no text.
    """
    try:
        return file.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise InputError(
            f"{file}: there is no such file; is the folder that of a result?"
        ) from None
    except OSError as error:
        raise InputError(f"{file}: cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise InputError(f"{file}: not a text file in UTF-8") from None
