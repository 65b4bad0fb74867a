"""A result read back from its folder: the same figures and shapes, or what is wrong with it."""

import json
import math
import shutil
from dataclasses import replace

import numpy as np
import pytest

from fem.complaint import InputError
from fem.origin import Origin
from fem.result import Result
from fem.run import solve
from fem.shape import whole_tube

FLOAT32 = 2e-6  # coordinates of files are in single precision, of tubes of some 60 mm


def same(one, other):
    """Return whether two cells of the table are alike, nan and all."""
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


def test_figures_are_those_that_were_saved(result, folder):
    loaded = Result.load(folder)
    assert loaded.case == result.case and loaded.case.hash == result.case.hash
    assert loaded.origin == result.origin
    check_rows(loaded.rows, result.rows)
    for run, own in zip(loaded.runs, result.runs, strict=True):
        assert run.seconds == pytest.approx(own.seconds, abs=1e-3)
        assert replace(run, shapes=[], rows=[], seconds=0) == replace(
            own, shapes=[], rows=[], seconds=0
        )
    assert json.loads(json.dumps(loaded.provenance())) == json.loads(
        (folder / "run.json").read_text(encoding="utf-8")
    )


def test_shapes_are_the_whole_tubes_that_were_saved(result, folder):
    for shape, own in zip(Result.load(folder).shapes, result.shapes, strict=True):
        loaded, saved = whole_tube(shape), whole_tube(own)
        assert shape.sectors == 1
        assert shape.pressure == pytest.approx(own.pressure, rel=1e-9)
        assert [family.name for family in shape.threads] == ["A", "B"]
        assert loaded.points == pytest.approx(saved.points, rel=FLOAT32, abs=1e-5)
        assert np.array_equal(loaded.cells, saved.cells)
        for name in ("part", "tension_N", "stretch"):
            assert np.array_equal(loaded.cell_data[name], saved.cell_data[name], equal_nan=True)
        moved = saved.point_data["displacement"]
        assert loaded.point_data["displacement"] == pytest.approx(moved, rel=FLOAT32, abs=1e-5)


def test_what_is_loaded_can_be_saved_again(folder, tmp_path):
    Result.load(folder).save(tmp_path / "again")
    for name in ("steps.csv", "run.json", "shape.pvd"):
        assert (tmp_path / "again" / name).read_text() == (folder / name).read_text()
    check_rows(Result.load(tmp_path / "again").rows, Result.load(folder).rows)


def test_every_kind_of_case_comes_back(make_case, tmp_path):
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


def test_an_early_end_and_figures_that_are_none_come_back(result, tmp_path):
    run = replace(
        result.runs[1],
        reached=False,
        reason='no equilibrium, "here"\u2028or there',
        lost=True,
        balance={"energy_gap": math.nan},
        limit="balloon limit at 3 kPa",
    )
    Result(result.case, [run]).save(tmp_path)
    (loaded,) = Result.load(tmp_path).runs
    assert (loaded.reached, loaded.lost, loaded.limit) == (False, True, run.limit)
    assert loaded.reason == run.reason
    assert math.isnan(loaded.balance["energy_gap"])


def test_an_older_result_that_tells_less_is_read(copy, result):
    told = json.loads((copy / "run.json").read_text(encoding="utf-8"))
    del told["versions"], told["machine"]
    for run in told["runs"]:
        for key in ("lost", "limit", "shortfalls", "interrupted", "balance", "mesh"):
            del run[key]
    (copy / "run.json").write_text(json.dumps(told), encoding="utf-8")
    loaded = Result.load(copy)
    assert loaded.origin == Origin({}, {})
    assert [run.reached for run in loaded.runs] == [True, True]
    check_rows(loaded.rows, result.rows)


def test_a_result_whose_shapes_were_taken_out_is_read(copy):
    for file in [*copy.glob("*.vtu"), copy / "shape.pvd"]:
        file.unlink()
    assert Result.load(copy).shapes == []


# ---------------------------------------------------------------------------------- bad folders


def refusal(folder):
    with pytest.raises(InputError) as refused:
        Result.load(folder)
    return str(refused.value)


def test_what_is_no_folder_is_refused(folder, tmp_path):
    assert refusal(tmp_path / "nowhere") == f"{tmp_path / 'nowhere'}: there is no such folder"
    file = folder / "run.json"
    assert refusal(file) == f"{file}: this is a file; the folder of a result is due"
    assert f"{tmp_path / 'run.json'}: there is no such file" in refusal(tmp_path)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "not valid JSON"),
        ("[" * 100_000, "not valid JSON"),
        ("[]", "does not tell of a result"),
        ('{"case": {}}', "does not tell of a result"),
        ('{"study": {"title": "Reach"}}', "this is a study"),
        ('{"case": {"title": "x"}, "runs": []}', "tube: this key is missing"),
        ('{"case": {}, "runs": [3]}', "a run lacks"),
        ('{"case": {}, "runs": [{"model": "fe"}]}', "a run lacks the key reached"),
    ],
)
def test_a_bad_provenance_is_refused(copy, text, said):
    (copy / "run.json").write_text(text, encoding="utf-8")
    assert said in refusal(copy)
    assert str(copy / "run.json") in refusal(copy)


@pytest.mark.parametrize(
    ("right", "wrong", "said"),
    [
        ("twist_deg", "twist_rad", "the column twist_deg is missing"),
        ("tension_N.B", "tension_N.C", "the column tension_N.B is missing"),
        (",True,", ",yes,", 'line 2: demanded cannot be "yes"'),
        ("fe,1,", "fe,one,", 'line 3: step cannot be "one"'),
        ("fe,1,", "fe,1,0,", "line 3: 33 cells to 32 columns"),
        ("fe,1,", "fast,1,", "it has other steps than run.json"),
    ],
)
def test_a_bad_table_is_refused(copy, right, wrong, said):
    file = copy / "steps.csv"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace(right, wrong, 1), encoding="utf-8")
    assert refusal(copy) == f"{file}: {said}"


def test_a_table_that_is_cut_short_is_refused(copy):
    file = copy / "steps.csv"
    lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
    file.write_text("".join(lines[:-1]), encoding="utf-8")
    assert "other steps than run.json" in refusal(copy)


def test_a_missing_shape_is_refused(copy):
    (copy / "shape_001.vtu").unlink()
    assert refusal(copy) == f"{copy / 'shape_001.vtu'}: this file is missing"


@pytest.mark.parametrize("kept", [0, 200, 20_000, -200])
def test_a_shape_that_is_cut_short_is_refused(copy, kept):
    file = copy / "shape_001.vtu"
    file.write_bytes(file.read_bytes()[:kept])
    assert refusal(copy) == f"{file}: damaged, or not the shape of this case"


def test_a_list_of_shapes_leads_nowhere_else(copy):
    index = copy / "shape.pvd"
    text = index.read_text(encoding="utf-8")
    index.write_text(text.replace("shape_001.vtu", "../wrist/shape_001.vtu"), encoding="utf-8")
    assert "is no file of this result" in refusal(copy)
    index.write_text(text[:-40], encoding="utf-8")
    assert refusal(copy).startswith(f"{index}: not valid XML")


def test_a_file_that_may_not_be_read_is_named(copy):
    (copy / "steps.csv").unlink()
    (copy / "steps.csv").mkdir()
    assert refusal(copy) == f"{copy / 'steps.csv'}: cannot be read: Is a directory"
