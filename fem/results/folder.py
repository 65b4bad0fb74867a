"""Contents of a folder, a result or a study: reading of its run.json, check of its files.

run.json is written last and contains the SHA-256 of the files that belong to it. So files of two
results, which an interruption may leave in one folder, are never read together.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, ClassVar, NoReturn

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fem.core.errors import InputError
from fem.core.text_file import read_text

RECORD = "run.json"
STUDY_DATABASE = "results.sqlite"
"""The solved curves of a study; it exists before run.json."""

OLD_STUDY_DATABASE = "ledger.sqlite"
"""Its name in earlier versions."""

FORMAT = 2
"""Number of the layout of run.json and of the files beside it."""

REQUIRED = {
    "missing": "this key is missing",
    "model_type": "an object is required",
    "dataclass_type": "an object is required",
    "dict_type": "an object is required",
    "list_type": "a list is required",
}
"""Messages for errors of pydantic, by their type; other errors keep their message."""


class Contents(StrEnum):
    """Contents of a folder."""

    RESULT = "result"
    STUDY = "study"
    UNFINISHED_STUDY = "unfinished_study"
    NEITHER = "neither"
    DAMAGED = "damaged"
    OTHER_FORMAT = "other_format"


class FolderError(InputError):
    """A folder does not contain what is required; `contents` is what it contains."""

    def __init__(self, contents: Contents, text: str) -> None:
        super().__init__(text)
        self.contents = contents


class Record(BaseModel):
    """An object of run.json."""

    model_config = ConfigDict(strict=True, frozen=True)


class FolderRecord(Record):
    """The part of run.json that results and studies share.

    Attributes
    ----------
    holds, format
        Contents of the folder, and number of the layout of its files.
    files
        SHA-256 of the files that belong to it, by name.
    case
        The case, or the base case of the study.
    versions, machine
        Environment in which it was solved.
    """

    CONTENTS: ClassVar[Contents]

    holds: Contents
    format: int
    files: dict[Annotated[str, Field(pattern=r"^[\w.]+$")], str]
    case: dict[str, Any]
    versions: dict[str, str]
    machine: dict[str, str]


def contents(folder: Path) -> Contents:
    """Return the contents of a folder, by its run.json only."""
    try:
        return Contents(_parsed(folder)[1]["holds"])
    except FolderError as error:
        return error.contents


def read_record[R: FolderRecord](folder: Path, kind: type[R]) -> R:
    """Return the run.json of a folder, checked against the class `kind`.

    Raises
    ------
    FolderError
        If the folder contains something else, is damaged, or has another format; the message names
        the file.
    """
    file = folder / RECORD
    text, data = _parsed(folder)
    if data["holds"] != kind.CONTENTS:
        hint = (
            "; its subfolder shapes contains results of single cases"
            if kind.CONTENTS == "result"
            else ""
        )
        found = Contents(data["holds"])
        raise FolderError(
            found, f"{file}: the folder contains a {found}, not a {kind.CONTENTS}{hint}"
        )
    try:
        return kind.model_validate_json(text)
    except ValidationError as error:
        raise FolderError(Contents.DAMAGED, f"{file}: {_first_error(error)}") from None


def check_files(folder: Path, record: FolderRecord, names: Iterable[str]) -> None:
    """Check that files are those that run.json was written with.

    Raises
    ------
    FolderError
        If a file is missing or differs.
    """
    for name in names:
        file = folder / name
        if not file.exists():
            raise FolderError(Contents.DAMAGED, f"{file}: this file is missing")
        try:
            found = sha256(file.read_bytes())
        except OSError as error:
            text = f"{file}: cannot be read: {error.strerror}"
            raise FolderError(Contents.DAMAGED, text) from None
        if record.files.get(name) != found:
            cause = "it was changed, or writing the folder was interrupted; solve again"
            raise FolderError(Contents.DAMAGED, f"{file}: {RECORD} does not match it: {cause}")


def old_database(folder: Path) -> str:
    """Return the error that the folder has only the database of an earlier version, or nothing."""
    old = folder / OLD_STUDY_DATABASE
    if (folder / STUDY_DATABASE).exists() or not old.exists():
        return ""
    return (
        f"{old}: an earlier version of tubewright wrote this results database; this version "
        f"cannot read it and writes {STUDY_DATABASE}; take another folder (--out), or delete "
        f"{OLD_STUDY_DATABASE} to solve its curves again"
    )


def sha256(data: bytes) -> str:
    """Return the SHA-256 of data."""
    return hashlib.sha256(data).hexdigest()


def _parsed(folder: Path) -> tuple[str, dict[str, Any]]:
    """Return the text of run.json and its data, after a check of the format."""
    file = folder / RECORD
    if not folder.is_dir():
        error = "this is a file; the folder of a result is required"
        text = f"{folder}: {error if folder.exists() else 'there is no such folder'}"
        raise FolderError(Contents.NEITHER, text)
    if not file.exists() and (text := old_database(folder)):
        raise FolderError(Contents.UNFINISHED_STUDY, text)
    if not file.exists() and (folder / STUDY_DATABASE).exists():
        text = f"{file}: missing: the study still runs, or was interrupted; continue with --resume"
        raise FolderError(Contents.UNFINISHED_STUDY, text)
    if not file.exists():
        text = f"{file}: missing; the folder contains neither a result nor a study"
        raise FolderError(Contents.NEITHER, text)
    try:
        text = read_text(file)
        data = json.loads(text, parse_constant=_refuse_constant)
    except InputError as error:
        raise FolderError(Contents.DAMAGED, str(error)) from None
    except (ValueError, RecursionError) as error:
        raise FolderError(Contents.DAMAGED, f"{file}: not valid JSON: {error}") from None
    if not isinstance(data, dict):
        raise FolderError(Contents.DAMAGED, f"{file}: an object is required")
    if data.get("format") != FORMAT:
        found = f"format {data['format']}" if "format" in data else "an older format"
        text = f"{file}: {found}; this version reads format {FORMAT}: solve again"
        raise FolderError(Contents.OTHER_FORMAT, text)
    if data.get("holds") not in (Contents.RESULT, Contents.STUDY):
        text = f"{file}: holds: 'result' or 'study' is required"
        raise FolderError(Contents.DAMAGED, text)
    return text, data


def _refuse_constant(constant: str) -> NoReturn:
    raise ValueError(f"{constant} is not a number in JSON")


def _first_error(error: ValidationError) -> str:
    """Return a message for the first error: key, value, reason; list entries count from 1."""
    first = error.errors()[0]
    key = "".join(f"[{p + 1}]" if isinstance(p, int) else f".{p}" for p in first["loc"])
    reason = REQUIRED.get(first["type"], first["msg"].replace("Input should be", "it must be"))
    if first["type"] == "missing":
        return f"{key[1:]}: {reason}"
    value = repr(first["input"])
    value = value if len(value) < 60 else value[:57] + "..."
    return f"{key[1:] or 'the file'} = {value}: {reason}"
