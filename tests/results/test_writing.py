"""A folder never mixes two results, wherever the writing ends."""

from pathlib import Path

import pytest

from fem.core.atomic_write import Batch
from fem.core.errors import InputError
from fem.results.folder import STUDY_DATABASE, FolderError
from fem.results.reader import check_replaceable
from fem.results.result import Result
from fem.solving.single import solve
from tests.helpers.messages import refused
from tests.results.test_reader import check_rows

ALL_FILES = 6  # steps.csv, three shapes, shape.pvd, run.json


@pytest.fixture(scope="module")
def other(make_case):
    """Return the result of another tube with the same number of steps."""
    return solve(make_case(pressure__steps=2, tube__length="50 mm"), resolution="1x1x4")


class KilledError(BaseException):
    """Simulates a kill of the process."""


def fail_at(monkeypatch, cls, method, number, error):
    """Make one call of a method raise an error; calls count from 0."""
    usual, calls = getattr(cls, method), []

    def failing(*args, **options):
        calls.append(args)
        if len(calls) == number + 1:
            raise error
        return usual(*args, **options)

    monkeypatch.setattr(cls, method, failing)


@pytest.mark.parametrize("number", range(ALL_FILES + 1))
def test_a_kill_between_two_files_leaves_a_complete_result_or_is_detected(
    result, other, tmp_path, monkeypatch, number
):
    other.save(tmp_path)
    with monkeypatch.context() as patched:
        fail_at(patched, Path, "replace", number, KilledError())
        if number == ALL_FILES:
            result.save(tmp_path)
        else:
            with pytest.raises(KilledError):
                result.save(tmp_path)
    assert not [file for file in tmp_path.iterdir() if file.name.startswith(".")]
    if number in (0, ALL_FILES):
        kept = other if number == 0 else result
        check_rows(Result.load(tmp_path).rows, kept.rows)
        assert len(Result.load(tmp_path).shapes) == 3
    else:
        with refused(FolderError, "steps.csv", "run.json", "solve again"):
            Result.load(tmp_path)
        result.save(tmp_path)  # writes all files again
        check_rows(Result.load(tmp_path).rows, result.rows)


@pytest.mark.parametrize("number", range(ALL_FILES))
def test_a_full_disk_leaves_the_earlier_result(result, other, tmp_path, monkeypatch, number):
    other.save(tmp_path)
    names = {file.name for file in tmp_path.iterdir()}
    with monkeypatch.context() as patched:
        fail_at(patched, Path, "write_bytes", number, OSError(28, "No space left on device"))
        with pytest.raises(OSError, match="No space") as failed:
            result.save(tmp_path)
    assert Path(failed.value.filename).name in names
    assert {file.name for file in tmp_path.iterdir()} == names
    check_rows(Result.load(tmp_path).rows, other.rows)


def test_a_kill_before_old_shapes_are_removed_leaves_the_new_result(result, tmp_path, monkeypatch):
    result.save(tmp_path)
    fast = Result(result.case, result.runs[1:])
    with monkeypatch.context() as patched:
        patched.setattr("fem.results.result.indexed", lambda folder: [])
        fast.save(tmp_path)
    assert (tmp_path / "shape.pvd").exists()
    assert Result.load(tmp_path).shapes == []
    check_rows(Result.load(tmp_path).rows, fast.rows)


def test_files_are_replaced_in_the_order_of_writing(tmp_path):
    batch = Batch()
    for name in ("b", "a"):
        batch.write(tmp_path / name, name.encode())
    assert [file.name for file in batch.parts] == ["b", "a"]


def test_contents_that_would_be_lost_are_not_replaced(result, other, tmp_path):
    """The same case may be solved again by the same or more models."""
    case = result.case
    check_replaceable(tmp_path, case, ["fast"])
    result.save(tmp_path)
    check_replaceable(tmp_path, case.changed(title="Another"), ["fe", "fast", "fe.mesh_error"])
    with refused(InputError, str(tmp_path), ": fe; ", "--out", "--overwrite"):
        check_replaceable(tmp_path, case, ["fast"])
    with refused(InputError, "another case", other.case.title):
        check_replaceable(tmp_path, other.case, ["fe", "fast"])
    (tmp_path / "steps.csv").write_text("damaged")
    with refused(InputError, ": fe; "):
        check_replaceable(tmp_path, case, ["fast"])
    (tmp_path / "run.json").write_text('{"holds": "study", "format": 2}')
    with refused(InputError, "a study"):
        check_replaceable(tmp_path, case, ["fe", "fast"])
    (tmp_path / "run.json").write_text('{"runs": []}')
    with refused(InputError, "another format"):
        check_replaceable(tmp_path, case, ["fe", "fast"])
    (tmp_path / "run.json").write_text("{")
    with refused(InputError, "run.json", "cannot be read"):
        check_replaceable(tmp_path, case, ["fast"])
    (tmp_path / "run.json").unlink()
    check_replaceable(tmp_path, case, ["fast"])
    (tmp_path / STUDY_DATABASE).touch()
    with refused(InputError, "unfinished study"):
        check_replaceable(tmp_path, case, ["fast"])


def test_an_additional_solve_is_not_lost(make_case, tmp_path):
    case = make_case(pressure__steps=1)
    solve(case, "fe", "1x1x4", mesh_error=True).save(tmp_path)
    with refused(InputError, "fe.mesh_error"):
        check_replaceable(tmp_path, case, ["fe", "fast"])
