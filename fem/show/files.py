"""Whether a picture or film can be written, before it is drawn."""

from __future__ import annotations

from pathlib import Path

from fem.complaint import InputError


def need_folder(file: Path) -> None:
    """Return if there is a folder that a file can be written into.

    Raises
    ------
    InputError
        If there is none: one that is misspelt is not made.
    """
    if not file.parent.is_dir():
        fault = "this is a file; a folder is needed"
        raise InputError(
            f"{file.parent}: {fault if file.parent.exists() else 'there is no such folder'}"
        )
