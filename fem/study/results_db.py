"""The results database of a study: one committed row to each curve that is done, kept in SQLite.

A curve is one model along the path of one case. Its row holds how it ended and its steps, and is
written in one transaction, so that whatever is killed, and when, a curve is in it whole or not at
all. The journal is a write-ahead log: a commit is one append to it, and a reader sees the last one.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, fields
from operator import methodcaller
from pathlib import Path
from typing import Any, Literal, Self

from filelock import FileLock, Timeout

from fem.core.errors import InputError
from fem.results.folder import OLD_STUDY_DATABASE, STUDY_DATABASE
from fem.results.termination import REACHED, Termination, restore

type Status = Literal["reached", "ended", "failed"]
"""Reached the last step; ended before it where the tube has a limit; or neither."""


class DatabaseWriteError(Exception):
    """The results database cannot be written, as when the disk is full; what it holds stays."""


@dataclass(frozen=True)
class Curve:
    """One model along the path of one case, as the results database keeps it.

    Attributes
    ----------
    case, model
        Key of the case, and ``"fe"`` or ``"fast"``: together the key of the curve.
    status
        How it ended.
    termination
        Why it ended.
    seconds
        Wall time.
    host, worker
        Where it was solved: name of the machine, number of the process.
    tries
        How often it was begun.
    steps
        The step table by columns, each a list with a value to each row.
    details
        What else the run reports: mesh, balance.
    """

    case: str
    model: str
    status: Status
    termination: Termination = REACHED
    seconds: float = 0.0
    host: str = ""
    worker: int = 0
    tries: int = 1
    steps: dict[str, list[Any]] = field(default_factory=dict)
    details: dict[str, Any] = field(default_factory=dict)

    @property
    def key(self) -> tuple[str, str]:
        """The key of the curve: that of its case, and the model."""
        return self.case, self.model


NAMES = [column.name for column in fields(Curve)]
AS_JSON = ("termination", "steps", "details")
VERSION = 2
"""Number of the layout of the database, to be raised as well where the keys of cases change."""

COLUMNS = ", ".join(f'"{name}"' for name in NAMES)  # case is a word of SQL
TABLES = f"""
CREATE TABLE IF NOT EXISTS curves ({COLUMNS}, PRIMARY KEY ("case", model));
CREATE TABLE IF NOT EXISTS facts (name PRIMARY KEY, value) WITHOUT ROWID;
"""


class ResultsDatabase:
    """The results database in a folder, open for one run at a time.

    Raises
    ------
    InputError
        If another run has it open, or the file is not a results database.
    DatabaseWriteError
        If it cannot be written.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / STUDY_DATABASE
        _check_old(folder)
        self._lock = FileLock(
            folder / f".{STUDY_DATABASE}.lock"
        )  # the system frees it when its holder dies
        try:
            self._lock.acquire(timeout=0)
        except Timeout:
            raise InputError(f"{folder}: another run of a study writes there just now") from None
        try:
            self._base = _open(self.path)
        except BaseException:
            self._lock.release()
            raise

    def __enter__(self) -> Self:
        """Return the results database itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close it."""
        self._base.close()
        self._lock.release()

    def add(self, curves: Iterable[Curve]) -> None:
        """Write curves, in one transaction; one that is there already is written over."""
        marks = ", ".join(f":{name}" for name in NAMES)
        rows = [_row(curve) for curve in curves]
        with _told(self.path), self._base:
            self._base.executemany(f"INSERT OR REPLACE INTO curves VALUES ({marks})", rows)

    def note(self, name: str, value: Any) -> None:
        """Write down a fact."""
        with _told(self.path), self._base:
            row = (name, json.dumps(value))
            self._base.execute("INSERT OR REPLACE INTO facts VALUES (?, ?)", row)

    def fact(self, name: str) -> Any:
        """Return a fact that was written down, None if it was not."""
        row = self._base.execute("SELECT value FROM facts WHERE name = ?", (name,)).fetchone()
        return json.loads(row[0]) if row else None

    @property
    def count(self) -> int:
        """Number of curves in it."""
        return int(self._base.execute("SELECT count(*) FROM curves").fetchone()[0])

    def done(self, statuses: Sequence[Status]) -> set[tuple[str, str]]:
        """Return case and model of each curve that ended in one of these ways."""
        marks = ", ".join("?" * len(statuses))
        query = f'SELECT "case", model FROM curves WHERE status IN ({marks})'
        return set(self._base.execute(query, statuses))

    def curves(self) -> Iterator[Curve]:
        """Yield all curves, in no certain order.

        Raises
        ------
        InputError
            If a row is damaged.
        """
        for row in self._base.execute(f"SELECT {COLUMNS} FROM curves"):
            data = dict(zip(NAMES, row, strict=True))
            try:
                read = {name: json.loads(data[name]) for name in AS_JSON}
                read["termination"] = restore(read["termination"])
            except (ValueError, TypeError):
                raise InputError(f"{self.path}: a row is damaged: case {data['case']}") from None
            yield Curve(**{**data, **read})


def _check_old(folder: Path) -> None:
    """Raise if the folder has only the database of an earlier version."""
    old = folder / OLD_STUDY_DATABASE
    if old.exists() and not (folder / STUDY_DATABASE).exists():
        raise InputError(
            f"{old}: an earlier version of tubewright wrote this results database; this version "
            f"cannot read it and writes {STUDY_DATABASE}; take another folder (--out), or delete "
            f"{OLD_STUDY_DATABASE} to solve its curves again"
        )


def _row(curve: Curve) -> dict[str, Any]:
    """Return a curve as its row of the table."""
    data = vars(curve) | {"termination": curve.termination.data()}
    plain = methodcaller("item")  # of a NumPy scalar
    return data | {name: json.dumps(data[name], default=plain) for name in AS_JSON}


def weight(curve: Curve) -> int:
    """Return the bytes that a curve takes in the results database, nearly."""
    return sum(len(str(value)) for value in _row(curve).values())


def _open(path: Path) -> sqlite3.Connection:
    try:
        base = sqlite3.connect(path)
        base.execute("PRAGMA journal_mode = WAL")
        base.execute("PRAGMA synchronous = FULL")  # a commit is on the disk, should the power fail
        if base.execute("SELECT count(*) FROM sqlite_master").fetchone() == (0,):
            base.execute(f"PRAGMA user_version = {VERSION}")
        (version,) = base.execute("PRAGMA user_version").fetchone()
        if version != VERSION:
            base.close()
            raise InputError(
                f"{path}: database format {version}; this version reads format {VERSION}, so the "
                "study cannot be resumed: solve it again in another folder (--out), or delete the "
                "file first"
            )
        base.executescript(TABLES)
    except sqlite3.DatabaseError as error:
        if isinstance(error, sqlite3.OperationalError):
            raise DatabaseWriteError(f"{path.name} cannot be written: {error}") from None
        raise InputError(f"{path}: this is not a results database: {error}") from None
    return base


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn what SQLite says of a full disk and the like into a sentence."""
    try:
        yield
    except sqlite3.OperationalError as error:
        raise DatabaseWriteError(f"{path.name} cannot be written: {error}") from None
