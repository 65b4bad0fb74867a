"""A result read back from its folder: the same figures and shapes, or what is wrong with it."""

import csv
import json
import math
import shutil
from dataclasses import replace

import numpy as np
import pytest

from fem.continuation.termination import TerminationKind
from fem.core.errors import InputError
from fem.quantities.shape import whole_tube
from fem.results.environment import Origin
from fem.results.result import Result
from fem.results.run import IncompleteSolve
from fem.results.termination import Termination
from fem.solving.single import solve

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
        for name in ("part", "tension_N"):
            assert np.array_equal(loaded.cell_data[name], saved.cell_data[name], equal_nan=True)
        stretches = (tube.point_data["stretch"] for tube in (loaded, saved))
        assert np.array_equal(*stretches, equal_nan=True)
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


def test_an_older_result_that_tells_less_is_read(copy, result):
    told = json.loads((copy / "run.json").read_text(encoding="utf-8"))
    del told["versions"], told["machine"]
    for run in told["runs"]:
        for key in ("incomplete", "balance", "mesh"):
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
        ("[]", "all of it = []: an object is due"),
        ('{"case": {}}', "runs: this key is missing"),
        ('{"case": {}, "runs": [NaN]}', "NaN is no number of JSON"),
        ('{"study": {"title": "Reach"}}', "this is a study"),
        ('{"case": {"title": "x"}, "runs": []}', "tube: this key is missing"),
        ('{"case": {}, "runs": [3]}', "runs[1] = 3: an object is due"),
        ('{"case": {}, "runs": [{"model": "fe"}]}', "runs[1].termination: this key is missing"),
    ],
)
def test_a_bad_provenance_is_refused(copy, text, said):
    (copy / "run.json").write_text(text, encoding="utf-8")
    assert said in refusal(copy)
    assert str(copy / "run.json") in refusal(copy)


@pytest.mark.parametrize(
    ("place", "value", "said"),
    [
        (["runs", 0, "history"], 5, "runs[1].history = 5: a list is due"),
        (["runs", 1, "history"], None, "runs[2].history = None: a list is due"),
        (["runs", 0, "history", 1, "step"], True, "runs[1].history[2].step = True: it must be a"),
        (["runs", 0, "model"], "bench", "runs[1].model = 'bench': it must be 'fe' or 'fast'"),
        (["runs", 1, "model"], "fe", "it has other steps than run.json"),
        (["runs", 0, "termination"], "yes", "runs[1].termination = 'yes': an object is due"),
        (["runs", 0, "termination", "kind"], "end", "runs[1].termination.kind = 'end': it must be"),
        (["runs", 0, "termination", "kind"], "limit_point", "limit_point needs pressure_kPa"),
        (["runs", 0, "wall_time_s"], "3 s", "runs[1].wall_time_s = '3 s': it must be a valid numb"),
        (["runs", 0, "wall_time_s"], -1, "runs[1].wall_time_s = -1: it must be greater than or"),
        (["runs", 0, "balance"], [], "runs[1].balance = []: an object is due"),
        (["runs", 0, "balance", "energy_gap"], "x", "runs[1].balance.energy_gap = 'x': it must"),
        (["runs", 0, "mesh"], None, "runs[1].mesh = None: an object is due"),
        (["runs", 0, "mesh", "threads_meshed"], 3, "runs[1].mesh.threads_meshed = 3: an object"),
        (["runs", 0, "incomplete"], "none", "runs[1].incomplete = 'none': a list is due"),
        (["versions"], ["3.13"], "versions = ['3.13']: an object is due"),
        (["machine", "system"], 5, "machine.system = 5: it must be a valid string"),
    ],
)
def test_a_provenance_of_wrong_types_is_refused_by_file_and_key(copy, place, value, said):
    file = copy / "run.json"
    told = json.loads(file.read_text(encoding="utf-8"))
    inner = told
    for key in place[:-1]:
        inner = inner[key]
    inner[place[-1]] = value
    file.write_text(json.dumps(told), encoding="utf-8")
    assert said in refusal(copy)
    assert refusal(copy).startswith(str(copy))


@pytest.mark.parametrize("cell", ["", "nan", "inf", "-inf", "1e+300"])
@pytest.mark.parametrize(
    "name", ["pressure_kPa", "twist_deg", "stretch", "bore_stretch", "tension_N.A", "energy_gap"]
)
def test_a_figure_that_is_needed_and_not_there_is_refused_by_its_line(copy, name, cell):
    line = with_cell(copy, name, cell)
    fault = f'{name} cannot be "{cell}"' if cell else f"{name} is empty"
    assert refusal(copy) == f"{copy / 'steps.csv'}: line {line}: {fault}"


def with_cell(folder, name, cell):
    """Write a cell of the last row, one of the fast model; return its line."""
    file = folder / "steps.csv"
    with open(file, newline="", encoding="utf-8") as table:
        lines = [*csv.reader(table)]
    lines[-1][lines[0].index(name)] = cell
    with open(file, "w", newline="", encoding="utf-8") as table:
        csv.writer(table, lineterminator="\n").writerows(lines)
    return len(lines)


@pytest.mark.parametrize(
    ("name", "cell", "said"),
    [
        ("stretch", "-5", "stretch = -5: it must be above 0"),
        ("bore_stretch", "-5", "bore_stretch = -5: it must be above 0"),
        ("wall_stretch_max", "0", "wall_stretch_max = 0: it must be above 0"),
        ("stretch", "1.5", "stretch = 1.5: the displacement gives 0.9"),
        ("displacement_mm", "6", "the displacement gives 1.1"),
        ("bore_stretch", "2", "bore_stretch and stretch give 17"),
    ],
)
def test_figures_that_contradict_each_other_are_refused(copy, name, cell, said):
    """A bore of 10 mm in a tube of some 56 mm has pi 10^2 56 = 17600 mm3."""
    line = with_cell(copy, name, cell)
    assert refusal(copy).startswith(f"{copy / 'steps.csv'}: line {line}: ")
    assert said in refusal(copy)


def test_neither_more_nor_other_rows_than_told_are_taken(copy):
    file = copy / "steps.csv"
    lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
    for wrong in (
        [*lines, lines[-1]],
        [*lines[:2], lines[1], *lines[3:]],
        [lines[0], *(line.replace(",7.5,", ",7.6,", 1) for line in lines[1:])],
    ):
        file.write_text("".join(wrong), encoding="utf-8")
        assert refusal(copy) == f"{file}: it has other steps than run.json"


def test_a_column_that_is_there_twice_is_refused(copy):
    file = copy / "steps.csv"
    lines = file.read_text(encoding="utf-8").splitlines()
    lines = [f"{line},{'twist_deg' if n == 0 else '5'}" for n, line in enumerate(lines)]
    file.write_text("\n".join(lines), encoding="utf-8")
    assert refusal(copy) == f"{file}: the column twist_deg is there twice"


# A shape of something else, whose file is whole: what it is held against is in the case and row.


def of_another(result, **changes):
    """Return the shape at the last step with some of its arrays changed."""
    return replace(result.shapes[2], **changes)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda s: {"nodes": s.nodes * [1, 1, 1.01]}, "its length at rest is 60.6 mm, that of the"),
        (lambda s: {"nodes": s.nodes * [1.02, 1.02, 1]}, "its bore radius at rest is 5.1 mm"),
        (
            lambda s: {"displacement": s.displacement + [0, 0, 0.01] * (s.nodes > 59)},
            "its free end is displaced by",
        ),
        (lambda s: {"displacement": turned_further(s, 0.1)}, "its free end is turned by 0.1 deg"),
        (lambda s: {"displacement": s.displacement * math.nan}, "a coordinate or a tension is no"),
        (
            lambda s: {"threads": [*s.threads[:1], replace(s.threads[1], **fewer(s.threads[1]))]},
            "threads B, 12 are due",
        ),
    ],
)
def test_a_shape_that_is_not_that_of_its_step_is_refused(copy, result, change, said):
    file = copy / "shape_002.vtu"
    whole_tube(of_another(result, **change(result.shapes[2]))).save(file)
    assert refusal(copy).startswith(f"{file}: ")
    assert said in refusal(copy)


def turned_further(shape, degrees):
    """Return displacements that turn the tube by so much more at its free end."""
    now = shape.nodes + shape.displacement
    angle = np.radians(degrees) * (shape.nodes[:, 2] > 59.99)
    x, y = now[:, 0], now[:, 1]
    moved = [x * np.cos(angle) - y * np.sin(angle), x * np.sin(angle) + y * np.cos(angle)]
    return np.stack([*moved, now[:, 2]], axis=1) - shape.nodes


def fewer(threads):
    """Return the arrays of a family without the pieces of its first thread."""
    keep = len(threads.rest) // 2
    return {name: getattr(threads, name)[keep:] for name in ("rest", "ends", "tension")}


def test_a_shape_of_another_step_or_mesh_is_refused(copy, make_case, tmp_path):
    """The other mesh gives nearly the same shapes, and at rest the very same tube."""
    solve(make_case(pressure__steps=2), "fe", "1x1x7").save(tmp_path / "other")
    for source, target, said in [
        (copy / "shape_001.vtu", "shape_002.vtu", "its free end is displaced by"),
        (tmp_path / "other" / "shape_001.vtu", "shape_001.vtu", "its free end is displaced by"),
        (tmp_path / "other" / "shape_000.vtu", "shape_000.vtu", "its mesh is not that of shape_0"),
    ]:
        shutil.copy(copy / target, tmp_path / "kept")
        shutil.copy(source, copy / target)
        assert said in refusal(copy)
        assert refusal(copy).endswith("it is not the shape of this step")
        shutil.copy(tmp_path / "kept", copy / target)
    Result.load(copy)


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
