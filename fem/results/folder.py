"""What a folder holds, a result or a study: one way to read its run.json and to check its files.

run.json is written last and has the SHA-256 of the files that belong to it, so that files of two
results, as a kill in between leaves them, are never read together.
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
from fem.core.text_file import text_of

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
"""Words for faults; others have those of pydantic."""


class Contents(StrEnum):
    """What a folder holds."""

    RESULT = "result"
    STUDY = "study"
    UNFINISHED_STUDY = "unfinished_study"
    NEITHER = "neither"
    DAMAGED = "damaged"
    OTHER_FORMAT = "other_format"


class FolderError(InputError):
    """A folder does not hold what is wanted; `contents` is what it holds."""

    def __init__(self, contents: Contents, text: str) -> None:
        super().__init__(text)
        self.contents = contents


class Record(BaseModel):
    """An object of run.json."""

    model_config = ConfigDict(strict=True, frozen=True)


class FolderRecord(Record):
    """What run.json says of any folder.

    Attributes
    ----------
    holds, format
        What the folder holds, and the layout of its files.
    files
        SHA-256 of the files that belong to it, by name.
    case
        The case, or the one that the study varies.
    versions, machine
        Where it was solved.
    """

    HOLDS: ClassVar[Contents]

    holds: Contents
    format: int
    files: dict[Annotated[str, Field(pattern=r"^[\w.]+$")], str]
    case: dict[str, Any]
    versions: dict[str, str]
    machine: dict[str, str]


def contents(folder: Path) -> Contents:
    """Return what a folder holds by its run.json; the other files are not looked at."""
    try:
        return Contents(_parsed(folder)[1]["holds"])
    except FolderError as error:
        return error.contents


def read_record[R: FolderRecord](folder: Path, kind: type[R]) -> R:
    """Return the run.json of a folder that holds what `kind` describes.

    Raises
    ------
    FolderError
        If it holds something else, is damaged, or is of another format; the text names the file.
    """
    file = folder / RECORD
    text, data = _parsed(folder)
    if data["holds"] != kind.HOLDS:
        kept = "; its folder shapes has results of single cases" if kind.HOLDS == "result" else ""
        raise FolderError(Contents(data["holds"]), f"{file}: this is a {data['holds']}{kept}")
    try:
        return kind.model_validate_json(text)
    except ValidationError as error:
        raise FolderError(Contents.DAMAGED, f"{file}: {_first_fault(error)}") from None


def check_files(folder: Path, record: FolderRecord, names: Iterable[str]) -> None:
    """Check that files are those that run.json belongs to.

    Raises
    ------
    FolderError
        If one is missing, or is another.
    """
    for name in names:
        file = folder / name
        if not file.exists():
            raise FolderError(Contents.DAMAGED, f"{file}: this file is missing")
        try:
            found = sha256(file.read_bytes())
        except OSError as error:
            fault = f"{file}: cannot be read: {error.strerror}"
            raise FolderError(Contents.DAMAGED, fault) from None
        if record.files.get(name) != found:
            fault = "it was changed, or writing the folder was interrupted; solve again"
            raise FolderError(Contents.DAMAGED, f"{file}: {RECORD} does not belong to it: {fault}")


def sha256(data: bytes) -> str:
    """Return the SHA-256 of the bytes of a file."""
    return hashlib.sha256(data).hexdigest()


def _parsed(folder: Path) -> tuple[str, dict[str, Any]]:
    """Return the text of run.json and its data, of this format."""
    file = folder / RECORD
    if not folder.is_dir():
        fault = "this is a file; the folder of a result is required"
        text = f"{folder}: {fault if folder.exists() else 'there is no such folder'}"
        raise FolderError(Contents.NEITHER, text)
    databases = (folder / STUDY_DATABASE, folder / OLD_STUDY_DATABASE)
    if not file.exists() and any(database.exists() for database in databases):
        fault = "there is no such file: the study runs, or was ended early; go on with --resume"
        raise FolderError(Contents.UNFINISHED_STUDY, f"{file}: {fault}")
    if not file.exists():
        fault = "there is no such file; the folder holds neither a result nor a study"
        raise FolderError(Contents.NEITHER, f"{file}: {fault}")
    try:
        text = text_of(file)
        data = json.loads(text, parse_constant=_refuse)
    except InputError as error:
        raise FolderError(Contents.DAMAGED, str(error)) from None
    except (ValueError, RecursionError) as error:
        raise FolderError(Contents.DAMAGED, f"{file}: not valid JSON: {error}") from None
    if not isinstance(data, dict):
        raise FolderError(Contents.DAMAGED, f"{file}: an object is required")
    if data.get("format") != FORMAT:
        given = f"format {data['format']}" if "format" in data else "an older format"
        fault = f"{given}; this version reads format {FORMAT}: solve again"
        raise FolderError(Contents.OTHER_FORMAT, f"{file}: {fault}")
    if data.get("holds") not in (Contents.RESULT, Contents.STUDY):
        fault = "holds: 'result' or 'study' is required"
        raise FolderError(Contents.DAMAGED, f"{file}: {fault}")
    return text, data


def _refuse(constant: str) -> NoReturn:
    raise ValueError(f"{constant} is no number of JSON")


def _first_fault(error: ValidationError) -> str:
    """Return the first fault: the key as one writes it, entries of lists counted from 1."""
    fault = error.errors()[0]
    key = "".join(f"[{p + 1}]" if isinstance(p, int) else f".{p}" for p in fault["loc"])
    words = REQUIRED.get(fault["type"], fault["msg"].replace("Input should be", "it must be"))
    if fault["type"] == "missing":
        return f"{key[1:]}: {words}"
    given = repr(fault["input"])
    return f"{key[1:] or 'all of it'} = {given if len(given) < 60 else given[:57] + '...'}: {words}"
