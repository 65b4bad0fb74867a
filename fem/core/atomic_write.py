"""Files written whole or not at all; no other module opens a result file for writing."""

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


class Batch:
    """Files that are written beside others and then replace them, in the order of writing."""

    def __init__(self) -> None:
        self.parts: dict[Path, Path] = {}

    def part(self, file: Path) -> Path:
        """Return an empty file beside `file`, with its ending, for a library to write."""
        file = Path(os.path.realpath(file))  # a link stays a link
        part = file.with_name(f".{file.stem}.{secrets.token_hex(4)}{file.suffix}")
        self.parts[file] = part
        part.touch(exist_ok=False)
        return part

    def write(self, file: Path, data: bytes) -> None:
        """Write what is to stand in `file`."""
        self.part(file).write_bytes(data)

    def named(self, error: OSError) -> OSError:
        """Return an error that names the file in place of the one beside it."""
        known = {str(part): file for file, part in self.parts.items()}
        file = [*known.values()][-1] if error.filename is None else known.get(str(error.filename))
        if file is None:
            return error
        return OSError(error.errno, error.strerror or str(error), str(file))


@contextmanager
def together() -> Iterator[Batch]:
    """Hand out a batch of files, which replace the old ones at the end.

    All old files stay until all new ones are written, and for good if the work fails, is
    interrupted or ended by SIGTERM; then nothing else is left. Only a kill between two of the
    replacements leaves old files beside new ones, which the last file has to reveal.

    Raises
    ------
    OSError
        If one cannot be written; it names that file, not the one beside it.
    """
    batch = Batch()
    try:
        with _left_by_sigterm():
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
    """Hand out an empty file beside `file`, which replaces it at the end; see `together`."""
    with together() as batch:
        yield batch.part(file)


@contextmanager
def stream_in_place_of(file: Path) -> Iterator[BinaryIO]:
    """Hand out a stream of bytes to what replaces `file` at the end."""
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
    """Return a table as the text of a file of comma-separated values."""
    return table.to_csv(index=False).encode()


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
