"""The results database of a study: one row per solved curve, in SQLite.

A curve is one model along the path of one case. Its row contains how it ended and its steps. A row
is written in one transaction: if a process is killed, a curve is stored completely or not at all.
The journal is a write-ahead log: a commit appends to it, and a reader sees the last commit.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, fields
from operator import methodcaller
from pathlib import Path
from typing import Any, Literal, Self

from filelock import FileLock, Timeout

from fem.core.errors import InputError
from fem.results.folder import STUDY_DATABASE, old_database
from fem.results.termination import REACHED, Termination, restore

type Status = Literal["reached", "ended", "failed"]
"""Reached the last step; ended before it at a limit of the tube; or failed."""


class DatabaseWriteError(OSError):
    """The database cannot be written, for example on a full disk; its contents stay."""


@dataclass(frozen=True)
class Curve:
    """One model along the path of one case, as stored in the database.

    Attributes
    ----------
    case, model
        Key of the case, and ``"fe"`` or ``"fast"``; together they are the key of the curve.
    status
        How it ended.
    termination
        Why it ended.
    seconds
        Wall time.
    host, worker
        Name of the machine and process number of the worker that solved it.
    tries
        Number of attempts.
    steps
        The step table by columns: a list with one value per row.
    details
        Other data of the run: mesh, balance.
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
"""Number of the layout of the database; to be raised also if the keys of cases change."""

COLUMNS = ", ".join(f'"{name}"' for name in NAMES)  # case is a keyword of SQL
TABLES = f"""
CREATE TABLE IF NOT EXISTS curves ({COLUMNS}, PRIMARY KEY ("case", model));
CREATE TABLE IF NOT EXISTS facts (name PRIMARY KEY, value) WITHOUT ROWID;
"""


class ResultsDatabase:
    """The results database in a folder; only one run at a time can open it.

    Raises
    ------
    InputError
        If another run has opened it, or the file is not a results database.
    DatabaseWriteError
        If the database cannot be written.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / STUDY_DATABASE
        if error := old_database(folder):
            raise InputError(error)
        # the system releases the lock if its process dies
        self._lock = FileLock(folder / f".{STUDY_DATABASE}.lock")
        try:
            self._lock.acquire(timeout=0)
        except Timeout:
            raise InputError(f"{folder}: another run of a study uses this folder") from None
        try:
            self._connection = _open(self.path)
        except BaseException:
            self._lock.release()
            raise

    def __enter__(self) -> Self:
        """Return the database itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the database."""
        self._connection.close()
        self._lock.release()

    def add(self, curves: Iterable[Curve]) -> None:
        """Store curves in one transaction; curves with the same key are replaced."""
        placeholders = ", ".join(f":{name}" for name in NAMES)
        rows = [_row(curve) for curve in curves]
        with _write_errors(self.path), self._connection:
            self._connection.executemany(
                f"INSERT OR REPLACE INTO curves VALUES ({placeholders})", rows
            )

    def set_fact(self, name: str, value: Any) -> None:
        """Store a fact by its name."""
        with _write_errors(self.path), self._connection:
            row = (name, json.dumps(value))
            self._connection.execute("INSERT OR REPLACE INTO facts VALUES (?, ?)", row)

    def fact(self, name: str) -> Any:
        """Return a stored fact; None if there is none of this name."""
        row = self._connection.execute("SELECT value FROM facts WHERE name = ?", (name,)).fetchone()
        return json.loads(row[0]) if row else None

    @property
    def count(self) -> int:
        """Number of curves in the database."""
        return int(self._connection.execute("SELECT count(*) FROM curves").fetchone()[0])

    def keys(self, statuses: Sequence[Status]) -> set[tuple[str, str]]:
        """Return case and model of each curve with one of these statuses."""
        placeholders = ", ".join("?" * len(statuses))
        query = f'SELECT "case", model FROM curves WHERE status IN ({placeholders})'
        return set(self._connection.execute(query, statuses))

    def curves(self) -> Iterator[Curve]:
        """Yield all curves, in any order.

        Raises
        ------
        InputError
            If a row is damaged.
        """
        for row in self._connection.execute(f"SELECT {COLUMNS} FROM curves"):
            data = dict(zip(NAMES, row, strict=True))
            try:
                decoded = {name: json.loads(data[name]) for name in AS_JSON}
                decoded["termination"] = restore(decoded["termination"])
            except (ValueError, TypeError):
                raise InputError(f"{self.path}: a row is damaged: case {data['case']}") from None
            yield Curve(**{**data, **decoded})


def _row(curve: Curve) -> dict[str, Any]:
    """Return the row of a curve."""
    data = vars(curve) | {"termination": curve.termination.data()}
    to_python = methodcaller("item")  # of a NumPy scalar
    return data | {name: json.dumps(data[name], default=to_python) for name in AS_JSON}


def stored_size(curve: Curve) -> int:
    """Return the approximate size of a curve in the database (bytes)."""
    return sum(len(str(value)) for value in _row(curve).values())


def _open(path: Path) -> sqlite3.Connection:
    """Return the connection to a database, which is made if it does not exist."""
    with ExitStack() as on_error:
        try:
            connection = sqlite3.connect(path)
            on_error.callback(connection.close)
            _prepare(connection, path)
        except sqlite3.OperationalError as error:
            raise DatabaseWriteError(f"{path.name} cannot be written: {error}") from None
        except sqlite3.DatabaseError as error:
            raise InputError(f"{path}: this is not a results database: {error}") from None
        on_error.pop_all()
    return connection


def _prepare(connection: sqlite3.Connection, path: Path) -> None:
    """Make the tables, or check the format of those that exist."""
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")  # a commit survives a power failure
    if connection.execute("SELECT count(*) FROM sqlite_master").fetchone() == (0,):
        connection.execute(f"PRAGMA user_version = {VERSION}")
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if version != VERSION:
        raise InputError(
            f"{path}: database format {version}; this version reads format {VERSION}, so the "
            "study cannot be resumed: solve it again in another folder (--out), or delete the "
            "file first"
        )
    connection.executescript(TABLES)


@contextmanager
def _write_errors(path: Path) -> Iterator[None]:
    """Convert errors of SQLite, such as a full disk, to :class:`DatabaseWriteError`."""
    try:
        yield
    except sqlite3.OperationalError as error:
        raise DatabaseWriteError(f"{path.name} cannot be written: {error}") from None
