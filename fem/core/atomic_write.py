"""Files of pictures, films and reports: where one can be written, and written whole or not."""

from __future__ import annotations

import secrets
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fem.core.errors import InputError


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


@contextmanager
def in_place_of(file: Path) -> Iterator[Path]:
    """Hand out an empty file beside `file`, which takes its place at the end.

    What stood there stays until then, and for good if the work fails, is broken off or ended by
    SIGTERM; then nothing else is left.

    Raises
    ------
    OSError
        If it cannot be written; it names `file`, not the one beside.
    """
    part = file.with_name(f".{file.stem}.{secrets.token_hex(4)}{file.suffix}")
    try:
        with _left_by_sigterm():
            part.touch(exist_ok=False)
            yield part
            part.replace(file)
    except OSError as error:
        if error.filename not in (None, str(part)):
            raise
        raise OSError(error.errno, error.strerror or str(error), str(file)) from error
    finally:
        part.unlink(missing_ok=True)


@contextmanager
def _left_by_sigterm() -> Iterator[None]:
    """Let SIGTERM end the program as an exception does, by way of what tidies up."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, lambda number, _: sys.exit(128 + number))
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
