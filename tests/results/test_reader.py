"""Results read from their folders: equal values and shapes, or an error that names the file."""

import hashlib
import json
import math
import shutil
from dataclasses import replace

import numpy as np
import pytest

from fem.continuation.termination import TerminationKind
from fem.core.errors import InputError
from fem.quantities.shape import whole_tube
from fem.results.folder import Contents, contents
from fem.results.result import Result
from fem.results.run import IncompleteSolve
from fem.results.termination import Termination
from fem.solving.single import solve
from tests.helpers.messages import assert_states

FLOAT32 = 2e-6  # coordinates in files are in single precision; the tube is about 60 mm long


def same(one, other):
    """Return whether two cells of the table are equal, NaN included."""
    return type(one) is type(other) and (one == other or (one != one and other != other))


def check_rows(loaded, expected):
    assert len(loaded) == len(expected)
    for row, own in zip(loaded, expected, strict=True):
        assert set(row) == set(own)
        different = [name for name in own if not same(row[name], own[name])]
        assert not different, [(name, row[name], own[name]) for name in different]


@pytest.fixture(scope="module")
def folder(result, tmp_path_factory):
    folder = tmp_path_factory.mktemp("wrist")
    result.save(folder)
    return folder


@pytest.fixture
def copy(folder, tmp_path):
    return shutil.copytree(folder, tmp_path / "copy")


# ----------------------------------------------------------------------------------- round trip


def test_values_are_those_that_were_saved(result, folder):
    loaded = Result.load(folder)
    assert loaded.case == result.case and loaded.case.hash == result.case.hash
    assert loaded.environment == result.environment
    check_rows(loaded.rows, result.rows)
    for run, own in zip(loaded.runs, result.runs, strict=True):
        assert run.seconds == pytest.approx(own.seconds, abs=1e-3)
        assert replace(run, shapes=[], rows=[], seconds=0) == replace(
            own, shapes=[], rows=[], seconds=0
        )


def test_shapes_are_those_of_the_saved_whole_tubes(result, folder):
    for shape, own in zip(Result.load(folder).shapes, result.shapes, strict=True):
        loaded, saved = whole_tube(shape), whole_tube(own)
        assert shape.sectors == 1
        assert shape.pressure == pytest.approx(own.pressure, rel=1e-9)
        assert [family.name for family in shape.threads] == ["A", "B"]
        assert loaded.points == pytest.approx(saved.points, rel=FLOAT32, abs=1e-5)
        assert np.array_equal(loaded.cells, saved.cells)
        for name in ("part", "tension_N"):
            assert np.array_equal(loaded.cell_data[name], saved.cell_data[name], equal_nan=True)
        stretches = (tube.point_data["stretch"] for tube in (loaded, saved))
        assert np.array_equal(*stretches, equal_nan=True)
        moved = saved.point_data["displacement"]
        assert loaded.point_data["displacement"] == pytest.approx(moved, rel=FLOAT32, abs=1e-5)


def test_a_loaded_result_can_be_saved_again(folder, tmp_path):
    Result.load(folder).save(tmp_path / "again")
    for name in ("steps.csv", "run.json", "shape.pvd"):
        assert (tmp_path / "again" / name).read_text() == (folder / name).read_text()
    check_rows(Result.load(tmp_path / "again").rows, Result.load(folder).rows)


def test_every_kind_of_case_is_read_back(make_case, tmp_path):
    cases = [
        make_case(threads=[]),
        make_case(gas={"mass": "1 mg", "steps": 2}, pressure=None),
        make_case(move={"twist": "5 deg", "steps": 2}, pressure__steps=1),
        make_case(threads__0__ring_turn="100 deg", threads__0__breaking_load="20 N"),
    ]
    for number, case in enumerate(cases):
        solved = solve(case, "fast")
        solved.save(tmp_path / str(number))
        loaded = Result.load(tmp_path / str(number))
        assert loaded.case.hash == case.hash
        check_rows(loaded.rows, solved.rows)


def test_an_early_end_and_missing_values_are_read_back(result, tmp_path):
    kind, row = TerminationKind.NOT_CONVERGED, result.runs[1].rows[1]
    run = replace(
        result.runs[1],
        termination=Termination.failed(TerminationKind.ERROR, 'broken, "here"\u2028or there'),
        incomplete=[IncompleteSolve("mesh_error", 1, Termination.at(kind, row, step=2, steps=2))],
        balance={"energy_gap": math.nan},
    )
    Result(result.case, [run]).save(tmp_path)
    (loaded,) = Result.load(tmp_path).runs
    assert (loaded.termination, loaded.incomplete) == (run.termination, run.incomplete)
    assert math.isnan(loaded.balance["energy_gap"])


def test_a_result_whose_shapes_were_deleted_is_read(copy):
    for file in [*copy.glob("*.vtu"), copy / "shape.pvd"]:
        file.unlink()
    assert Result.load(copy).shapes == []


# ---------------------------------------------------------------------------------- bad folders


def refusal(folder):
    with pytest.raises(InputError) as caught:
        Result.load(folder)
    return str(caught.value)


def test_a_path_without_a_result_is_refused(folder, tmp_path):
    for path in (tmp_path / "nowhere", folder / "run.json"):
        assert_states(refusal(path), str(path), "folder")
    assert_states(refusal(tmp_path), str(tmp_path / "run.json"), "missing")


def edited(folder, change):
    """Change the data of run.json."""
    file = folder / "run.json"
    data = json.loads(file.read_text(encoding="utf-8"))
    change(data)
    file.write_text(json.dumps(data), encoding="utf-8")
    return refusal(folder)


HEAD = '"holds": "result", "format": 2'


@pytest.mark.parametrize(
    ("text", "fact"),
    [
        ("{", "not valid JSON"),
        ("[" * 100_000, "not valid JSON"),
        ("[]", "an object is required"),
        ('{"case": {}, "runs": []}', "older format"),
        ('{"study": {"title": "Reach"}}', "format 2: solve again"),
        ('{"holds": "result", "format": 1}', "format 1;"),
        ('{"holds": "film", "format": 2}', "holds: 'result' or 'study'"),
        ('{"holds": "study", "format": 2}', "study"),
        (f"{{{HEAD}}}", "files: "),
        (f'{{{HEAD}, "case": NaN}}', "NaN"),
    ],
)
def test_a_bad_record_is_refused(copy, text, fact):
    (copy / "run.json").write_text(text, encoding="utf-8")
    assert_states(refusal(copy), str(copy / "run.json"), fact)


@pytest.mark.parametrize(
    ("place", "value", "fact"),
    [
        (["runs"], [3], "runs[1] = 3: an object is required"),
        (["runs", 0, "history"], 5, "runs[1].history = 5: a list is required"),
        (["runs", 0, "model"], "bench", "runs[1].model = 'bench': "),
        (["runs", 1, "model"], "fe", "the same model"),
        (["runs", 0, "termination"], "yes", "runs[1].termination = 'yes': an object is required"),
        (["runs", 0, "termination", "kind"], "end", "runs[1].termination.kind = 'end': it must be"),
        (["runs", 0, "termination", "kind"], "limit_point", "limit_point needs pressure_kPa"),
        (["runs", 0, "wall_time_s"], "3 s", "runs[1].wall_time_s = '3 s': it must be a valid numb"),
        (["runs", 0, "wall_time_s"], -1, "runs[1].wall_time_s = -1: it must be greater than or"),
        (["runs", 0, "balance"], [], "runs[1].balance = []: an object is required"),
        (["runs", 0, "balance", "energy_gap"], "x", "runs[1].balance.energy_gap = 'x': it must"),
        (["runs", 0, "mesh"], None, "runs[1].mesh = None: an object is required"),
        (["runs", 0, "mesh", "threads_meshed"], 3, "runs[1].mesh.threads_meshed = 3: an object"),
        (["runs", 0, "incomplete"], "none", "runs[1].incomplete = 'none': a list is required"),
        (["versions"], ["3.13"], "versions = ['3.13']: an object is required"),
        (["machine", "system"], 5, "machine.system = 5: it must be a valid string"),
        (["case", "tube", "length"], "61 mm", "case: it differs"),
        (["case", "tube"], {}, "tube.bore_radius: this key is missing"),
    ],
)
def test_a_record_of_wrong_types_is_refused_by_file_and_key(copy, place, value, fact):
    def change(data):
        for key in place[:-1]:
            data = data[key]
        data[place[-1]] = value

    assert fact in edited(copy, change)
    assert refusal(copy).startswith(str(copy / "run.json"))


def test_a_record_without_the_runs_of_the_table_is_refused(copy):
    message = edited(copy, lambda data: data["runs"].pop())
    assert_states(message, str(copy / "run.json"), "runs", "steps.csv", "models")


def test_a_record_without_a_shape_is_refused(copy):
    message = edited(copy, lambda data: data["files"].pop("shape_001.vtu"))
    assert f"{copy / 'run.json'}: files: " in message


# Files that do not belong to run.json: changed, cut short, of another step or another result.


def test_contents_of_folders(folder, tmp_path):
    def contents_with(text):
        (tmp_path / "run.json").write_text(text, encoding="utf-8")
        return contents(tmp_path)

    assert contents(folder) is Contents.RESULT
    assert contents(tmp_path) is contents(tmp_path / "nowhere") is Contents.NEITHER
    assert contents_with("{") is Contents.DAMAGED
    assert contents_with('{"case": {}, "runs": []}') is Contents.OTHER_FORMAT
    assert contents_with('{"holds": "study", "format": 2}') is Contents.STUDY


@pytest.mark.parametrize("name", ["steps.csv", "shape_001.vtu"])
@pytest.mark.parametrize(
    "change", [lambda b: b[:-1], lambda b: b.replace(b"1", b"2"), lambda b: b""]
)
def test_a_changed_file_is_refused(copy, name, change):
    file = copy / name
    file.write_bytes(change(file.read_bytes()))
    assert_states(refusal(copy), str(file), "run.json", "solve again")


def test_a_shape_of_another_step_is_refused(copy):
    shutil.copy(copy / "shape_001.vtu", copy / "shape_002.vtu")
    assert_states(refusal(copy), "shape_002.vtu", "run.json")


def test_a_table_without_a_required_column_is_refused(copy):
    """A later version might omit it and keep the number of the format."""
    file = copy / "steps.csv"
    file.write_text(file.read_text(encoding="utf-8").replace("twist_deg", "twist", 1))
    digest = hashlib.sha256(file.read_bytes()).hexdigest()
    message = edited(copy, lambda data: data["files"].update({"steps.csv": digest}))
    assert_states(message, str(file), "twist_deg", "missing")


@pytest.mark.parametrize("name", ["steps.csv", "shape_001.vtu"])
def test_a_missing_file_is_refused(copy, name):
    (copy / name).unlink()
    assert_states(refusal(copy), str(copy / name), "missing")


def test_a_file_outside_the_folder_is_refused(copy):
    def elsewhere(data):
        data["files"] = {name.replace("shape", "../shape"): d for name, d in data["files"].items()}

    assert "files" in edited(copy, elsewhere)


def test_an_unreadable_file_is_named(copy):
    (copy / "steps.csv").unlink()
    (copy / "steps.csv").mkdir()
    assert_states(refusal(copy), str(copy / "steps.csv"), "Is a directory")
