"""Atomic writing of files; no other module opens a result file for writing."""

from __future__ import annotations

import json
import os
import secrets
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from fem.core.errors import InputError

if TYPE_CHECKING:
    import pandas


def need_folder(file: Path) -> None:
    """Check that the folder of a file exists.

    Raises
    ------
    InputError
        If it does not exist: it is not created, since its name may be misspelt.
    """
    if not file.parent.is_dir():
        fault = "this is a file; a folder is required"
        raise InputError(
            f"{file.parent}: {fault if file.parent.exists() else 'there is no such folder'}"
        )


class Batch:
    """Temporary files that replace their targets at the end, in the order of writing."""

    def __init__(self) -> None:
        self.parts: dict[Path, Path] = {}

    def part(self, file: Path) -> Path:
        """Return an empty temporary file for a library to write, with the suffix of `file`."""
        file = Path(os.path.realpath(file))  # a link stays a link
        part = file.with_name(f".{file.stem}.{secrets.token_hex(4)}{file.suffix}")
        self.parts[file] = part
        part.touch(exist_ok=False)
        return part

    def write(self, file: Path, data: bytes) -> None:
        """Write the content of `file`."""
        self.part(file).write_bytes(data)

    def named(self, error: OSError) -> OSError:
        """Return an error that names the target instead of the temporary file."""
        known = {str(part): file for file, part in self.parts.items()}
        file = [*known.values()][-1] if error.filename is None else known.get(str(error.filename))
        if file is None:
            return error
        return OSError(error.errno, error.strerror or str(error), str(file))


@contextmanager
def together() -> Iterator[Batch]:
    """Yield a batch of files, which replace the old ones at the end.

    The old files are replaced only after all new ones are written. If the work fails, is
    interrupted or ended by SIGTERM, the old files remain and the new ones are removed. Only a kill
    between two replacements leaves old and new files together; the last file must show that.

    Raises
    ------
    OSError
        If a file cannot be written; the error names the target, not the temporary file.
    """
    batch = Batch()
    try:
        with _exit_on_sigterm():
            yield batch
            for file, part in batch.parts.items():
                part.replace(file)
    except OSError as error:
        raise (batch.named(error) if batch.parts else error) from error
    finally:
        for part in batch.parts.values():
            part.unlink(missing_ok=True)


@contextmanager
def in_place_of(file: Path) -> Iterator[Path]:
    """Yield an empty temporary file, which replaces `file` at the end; see `together`."""
    with together() as batch:
        yield batch.part(file)


@contextmanager
def stream_in_place_of(file: Path) -> Iterator[BinaryIO]:
    """Yield a binary stream to the file that replaces `file` at the end."""
    with in_place_of(file) as part, part.open("wb") as stream:
        yield stream


def write_bytes(file: Path, data: bytes) -> None:
    """Write a file of bytes."""
    with together() as batch:
        batch.write(file, data)


def write_text(file: Path, text: str) -> None:
    """Write a text file in UTF-8."""
    write_bytes(file, text.encode())


def json_bytes(data: Any) -> bytes:
    """Return JSON data as the text of a file."""
    return (json.dumps(data, indent=2, allow_nan=False) + "\n").encode()


def csv_bytes(table: pandas.DataFrame) -> bytes:
    """Return a table as the text of a CSV file."""
    return table.to_csv(index=False).encode()


@contextmanager
def _exit_on_sigterm() -> Iterator[None]:
    """Let SIGTERM raise SystemExit, so that temporary files are removed."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, lambda number, _: sys.exit(128 + number))
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
