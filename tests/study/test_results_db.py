"""The results database: stored curves survive errors."""

import sqlite3

import numpy as np
import pytest

from fem.continuation.termination import TerminationKind
from fem.core.errors import InputError
from fem.results.folder import OLD_STUDY_DATABASE, STUDY_DATABASE, Contents, contents
from fem.results.termination import Termination
from fem.study.results_db import VERSION, Curve, DatabaseWriteError, ResultsDatabase
from fem.study.study_result import StudyResult
from tests.helpers.messages import refused


def failed(why):
    return Termination.failed(TerminationKind.ERROR, why)


def test_a_database_of_another_version_is_refused(tmp_path):
    with ResultsDatabase(tmp_path) as database:
        database.add([curve(1)])
    base = sqlite3.connect(tmp_path / STUDY_DATABASE)
    base.execute("PRAGMA user_version = 0")
    base.close()
    with refused(InputError, STUDY_DATABASE, "format 0", f"format {VERSION}", "--out"):
        ResultsDatabase(tmp_path)


def curve(number, **changes):
    data = {"case": f"{number:016x}", "model": "fe", "status": "reached", "seconds": 1.5}
    return Curve(**{**data, **changes})


def test_curves_are_read_as_they_were_stored(tmp_path):
    kept = curve(1, steps={"step": [0, 1], "twist_deg": [0.0, 0.1 + 0.2]}, details={"mesh": {}})
    with ResultsDatabase(tmp_path) as database:
        database.add([kept, curve(2, status="failed", termination=failed("why"), tries=2)])
    with ResultsDatabase(tmp_path) as database:
        found = sorted(database.curves(), key=lambda one: one.case)
    assert found == [kept, curve(2, status="failed", termination=failed("why"), tries=2)]


def test_numpy_numbers_are_read_as_python_numbers(tmp_path):
    with ResultsDatabase(tmp_path) as database:
        database.add([curve(1, steps={"stable": [np.True_], "twist_deg": [np.float64(0.1)]})])
        (found,) = database.curves()
    assert found.steps == {"stable": [True], "twist_deg": [0.1]}


def test_keys_are_those_of_the_curves_with_given_statuses(tmp_path):
    statuses = ["reached", "ended", "failed"]
    with ResultsDatabase(tmp_path) as database:
        database.add(curve(k, status=status) for k, status in enumerate(statuses))
        assert database.keys(["reached", "ended"]) == {(f"{k:016x}", "fe") for k in (0, 1)}
        assert database.count == 3


def test_a_second_attempt_replaces_the_first(tmp_path):
    with ResultsDatabase(tmp_path) as database:
        database.add([curve(1, status="failed"), curve(1, model="fast")])
        database.add([curve(1)])
        assert {(c.model, c.status) for c in database.curves()} == {
            ("fe", "reached"),
            ("fast", "reached"),
        }


def test_only_one_run_can_open_the_database(tmp_path):
    with ResultsDatabase(tmp_path), refused(InputError, str(tmp_path), "another run"):
        ResultsDatabase(tmp_path)
    ResultsDatabase(tmp_path).__exit__()


def test_failed_transaction_stores_nothing(tmp_path):
    with ResultsDatabase(tmp_path) as database:
        database.add([curve(1)])

        def broken():
            yield curve(2)
            raise RuntimeError

        with pytest.raises(RuntimeError):
            database.add(broken())
        assert database.keys(["reached"]) == {(f"{1:016x}", "fe")}


def test_full_disk_is_reported_and_stored_curves_stay(tmp_path):
    """The page limit of SQLite raises the same error as a full disk."""
    with ResultsDatabase(tmp_path) as database:
        database.add([curve(1)])
        connection = database._connection
        (pages,) = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count = {pages}")
        assert issubclass(DatabaseWriteError, OSError)  # as solve_study promises
        with pytest.raises(DatabaseWriteError, match="full"):
            database.add([curve(k, termination=failed("x" * 10_000)) for k in range(2, 9)])
    with ResultsDatabase(tmp_path) as database:
        assert database.keys(["reached"]) == {(f"{1:016x}", "fe")}


def test_file_that_is_not_a_results_database_is_refused(tmp_path):
    (tmp_path / STUDY_DATABASE).write_text("nothing of the kind, " * 100)
    with refused(InputError, STUDY_DATABASE, "not a results database"):
        ResultsDatabase(tmp_path)


def test_database_of_an_earlier_version_is_refused(tmp_path):
    old = tmp_path / OLD_STUDY_DATABASE
    old.write_bytes(b"")
    with refused(InputError, str(old), STUDY_DATABASE, "--out", f"delete {old.name}"):
        ResultsDatabase(tmp_path)
    assert contents(tmp_path) is Contents.UNFINISHED_STUDY
    with refused(InputError, str(old), STUDY_DATABASE, "--out"):  # not: continue with --resume
        StudyResult.load(tmp_path)
    old.unlink()
    with ResultsDatabase(tmp_path) as database:
        assert database.count == 0


def test_damaged_row_is_refused(tmp_path):
    with ResultsDatabase(tmp_path) as database:
        database.add([curve(1)])
        database._connection.execute("UPDATE curves SET steps = '{'")
        with refused(InputError, STUDY_DATABASE, f"{1:016x}"):
            list(database.curves())


def test_readers_see_commits_of_the_write_ahead_log(tmp_path):
    with ResultsDatabase(tmp_path) as database:
        database.add([curve(1)])
        reader = sqlite3.connect(tmp_path / STUDY_DATABASE)
        assert reader.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert reader.execute("SELECT count(*) FROM curves").fetchone() == (1,)
        reader.close()
