"""A folder is never a mixture of two results, whatever ends the writing, and when."""

from pathlib import Path

import pytest

from fem.core.atomic_write import Batch
from fem.core.errors import InputError
from fem.results.folder import STUDY_DATABASE
from fem.results.reader import check_replaceable
from fem.results.result import Result
from fem.solving.single import solve
from tests.results.test_reader import check_rows

ALL_FILES = 6  # steps.csv, three shapes, shape.pvd, run.json


@pytest.fixture(scope="module")
def other(make_case):
    """Return a result of another tube, with as many steps."""
    return solve(make_case(pressure__steps=2, tube__length="50 mm"), resolution="1x1x4")


class KilledError(BaseException):
    """Stands for a kill."""


def fail_at(monkeypatch, cls, method, number, error):
    """Let the call of this number, from 0, of a method raise an error."""
    usual, calls = getattr(cls, method), []

    def failing(*args, **options):
        calls.append(args)
        if len(calls) == number + 1:
            raise error
        return usual(*args, **options)

    monkeypatch.setattr(cls, method, failing)


@pytest.mark.parametrize("number", range(ALL_FILES + 1))
def test_a_kill_between_two_files_leaves_a_whole_result_or_is_told(
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
        said = r"steps.csv: run.json does not belong to it: .* interrupted; solve again"
        with pytest.raises(InputError, match=said):
            Result.load(tmp_path)
        result.save(tmp_path)  # which mends it
        check_rows(Result.load(tmp_path).rows, result.rows)


@pytest.mark.parametrize("number", range(ALL_FILES))
def test_a_full_disk_leaves_the_earlier_result(result, other, tmp_path, monkeypatch, number):
    other.save(tmp_path)
    names = {file.name for file in tmp_path.iterdir()}
    with monkeypatch.context() as patched:
        fail_at(patched, Path, "write_bytes", number, OSError(28, "No space left on device"))
        with pytest.raises(OSError, match="No space left") as failed:
            result.save(tmp_path)
    assert Path(failed.value.filename).name in names
    assert {file.name for file in tmp_path.iterdir()} == names
    check_rows(Result.load(tmp_path).rows, other.rows)


def test_a_kill_before_older_shapes_are_removed_leaves_the_new_result(
    result, tmp_path, monkeypatch
):
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


def test_nothing_is_replaced_that_would_be_lost(result, other, tmp_path):
    """The same case may be solved again, by the same models or more."""
    case = result.case
    check_replaceable(tmp_path, case, ["fast"])
    result.save(tmp_path)
    check_replaceable(tmp_path, case.changed(title="Another"), ["fe", "fast", "fe.mesh_error"])
    with pytest.raises(InputError, match=r"is solved now: fe; take another .*--overwrite"):
        check_replaceable(tmp_path, case, ["fast"])
    with pytest.raises(InputError, match="the result of another case"):
        check_replaceable(tmp_path, other.case, ["fe", "fast"])
    (tmp_path / "steps.csv").write_text("damaged")
    with pytest.raises(InputError, match="fe; take another"):
        check_replaceable(tmp_path, case, ["fast"])
    (tmp_path / "run.json").write_text('{"holds": "study", "format": 2}')
    with pytest.raises(InputError, match="it holds a study"):
        check_replaceable(tmp_path, case, ["fe", "fast"])
    (tmp_path / "run.json").write_text('{"runs": []}')
    with pytest.raises(InputError, match="another format"):
        check_replaceable(tmp_path, case, ["fe", "fast"])
    (tmp_path / "run.json").write_text("{")
    with pytest.raises(InputError, match=r"it holds a run\.json that cannot be read; take another"):
        check_replaceable(tmp_path, case, ["fast"])
    (tmp_path / "run.json").unlink()
    check_replaceable(tmp_path, case, ["fast"])
    (tmp_path / STUDY_DATABASE).touch()
    with pytest.raises(InputError, match="it holds a study without its tables"):
        check_replaceable(tmp_path, case, ["fast"])


def test_an_additional_solve_is_not_lost(make_case, tmp_path):
    case = make_case(pressure__steps=1)
    solve(case, "fe", "1x1x4", mesh_error=True).save(tmp_path)
    with pytest.raises(InputError, match=r"more than is solved now: fe\.mesh_error"):
        check_replaceable(tmp_path, case, ["fe", "fast"])
