"""From a case to a folder: results of complete and of interrupted solves, and their files."""

import json
import re

import meshio
import numpy as np
import pandas as pd
import pytest
import pyvista

from fem.case.case import Case
from fem.continuation.loading import PRESSURE
from fem.continuation.newton import DivergedError, solve_equilibrium
from fem.continuation.termination import TerminationKind
from fem.core.errors import InputError
from fem.solving.single import MODELS, solve
from fem.wording.termination import reason
from tests.helpers.messages import assert_states, refused
from tests.helpers.paths import replace_newton

MESH = "1x1x4"
LEADING = ["model", "step", "pressure_kPa", "requested", "volume_mm3", "twist_deg"]
LEADING += ["displacement_mm", "stretch", "mid_radius_mm", "bulge_mm", "bore_stretch"]
LEADING += ["wall_stretch_max"]
FAMILY = ["tension_N", "tension_peak_N", "thread_strain", "taut_fraction", "spool_pull_N"]
FAMILY += ["ring_torque_Nmm", "thread_length_mm"]
TRAILING = ["end_force_N", "end_torque_Nmm", "energy_gap", "newton_iterations", "stable", "limit"]

PULLED = {"end": {"force": "2 N", "torque": "-5 N mm"}}


NUMBER = r"(-?[0-9.]+(?:e-?[0-9]+)?)"
PLACE = re.compile(rf"{NUMBER} kPa, {NUMBER} mm, {NUMBER} deg")


def check_place(end, row):
    """Compare pressure, displacement and twist of a termination and of its text with a row."""
    words = [float(number) for number in PLACE.search(reason(end)).groups()]
    columns = ["pressure_kPa", "displacement_mm", "twist_deg"]
    for number, column in zip(words, columns, strict=True):
        assert getattr(end, column) == row[column]
        assert number == pytest.approx(row[column], rel=1e-2, abs=0.05)  # rounded


@pytest.fixture(scope="module")
def result(make_case):
    return solve(make_case(pressure__steps=2), resolution=MESH)


def test_columns_of_the_step_table(result):
    families = [f"{what}.{name}" for name in "AB" for what in FAMILY]
    assert list(result.steps.columns) == LEADING + families + TRAILING


def test_written_table_is_read_back(result, tmp_path):
    result.save(tmp_path)
    pd.testing.assert_frame_equal(pd.read_csv(tmp_path / "steps.csv"), result.steps)


def test_shapes_are_read_by_meshio_and_pyvista(result, tmp_path):
    result.save(tmp_path)
    mesh = meshio.read(tmp_path / "shape_002.vtu")
    assert set(mesh.cells_dict) == {"hexahedron27", "line"}
    assert {"part", "tension_N"} <= set(mesh.cell_data)
    assert len(pyvista.get_reader(tmp_path / "shape.pvd").time_values) == 3


def test_run_record_is_complete(result, tmp_path):
    result.save(tmp_path)
    record = json.loads((tmp_path / "run.json").read_text(encoding="utf-8"))
    assert record["case"] == result.case.data and Case.parse(record["case"]) == result.case
    assert record["case_hash"] == result.case.hash
    assert {"numpy", "gmsh"} <= set(record["versions"])
    for run in record["runs"]:
        assert {"energy_gap", "end_force_gap", "end_torque_gap"} <= set(run["balance"])
        assert run["history"][0]["step"] == 0
        assert [row["requested"] for row in run["history"]] == [True] * 3


def test_balance_of_nan_is_written_as_null(result, tmp_path, monkeypatch):
    monkeypatch.setitem(result.runs[0].balance, "energy_gap", float("nan"))
    result.save(tmp_path)
    record = json.loads((tmp_path / "run.json").read_text(encoding="utf-8"))
    assert record["runs"][0]["balance"]["energy_gap"] is None


def test_only_older_shapes_of_the_folder_are_removed(result, make_case, tmp_path):
    theirs = tmp_path / "shape_of_my_own.vtu"
    numbered = tmp_path / "shape_900.vtu"
    for file in (theirs, numbered):
        file.write_text("not ours")
    result.save(tmp_path)
    assert (tmp_path / "shape_002.vtu").exists()
    solve(make_case(pressure__steps=1), "fast").save(tmp_path)
    assert not list(tmp_path.glob("shape_00?.vtu")) and not (tmp_path / "shape.pvd").exists()
    assert theirs.exists() and numbered.exists()


@pytest.mark.parametrize(
    ("models", "fact"),
    [
        (["fe", "fsat"], "['fsat']"),
        ("f", "['f']"),
        ("", "['']"),
        ([], "at least one"),
    ],
)
def test_unknown_models_are_refused_before_the_solve(make_case, models, fact):
    def never(*_):
        raise AssertionError("a model was solved")

    with refused(InputError, fact, "fe, fast"):
        solve(make_case(), models, MESH, report=never)


def test_one_model_may_be_given_as_a_string(make_case):
    assert [run.model for run in solve(make_case(), "fast").runs] == ["fast"]


def test_a_model_given_twice_is_solved_once(make_case):
    assert [run.model for run in solve(make_case(), ["fast", "fast"]).runs] == ["fast"]


def test_what_is_no_case_is_refused():
    with refused(TypeError, "wrist.toml", "Case.load"):
        solve("wrist.toml", "fast")


def test_interruption_keeps_the_states_and_starts_no_other_model(make_case):
    def interrupt(model, done, of):
        if done == 1:
            raise KeyboardInterrupt

    (run,) = solve(make_case(pressure__steps=3), MODELS, MESH, report=interrupt).runs
    assert (run.model, run.interrupted, run.reached, len(run.rows)) == ("fe", True, False, 2)
    assert run.termination.kind is TerminationKind.INTERRUPTED
    check_place(run.termination, run.rows[-1])
    assert reason(run.termination).startswith("interrupted after ")


def test_interruption_before_the_first_state_is_raised(make_case, monkeypatch):
    def interrupt(*_):
        raise KeyboardInterrupt

    replace_newton(monkeypatch, interrupt)
    with pytest.raises(KeyboardInterrupt):
        solve(make_case(), "fast")


def test_progress_counts_requested_steps(make_case):
    reports = []
    moved = make_case(pressure__steps=2, move={"displacement": "1 mm", "steps": 3})
    solve(moved, "fast", report=lambda *news: reports.append(news))
    assert reports == [("fast", done, 5) for done in range(6)]


def test_path_that_ends_at_rest_reports_its_unsuccessful_iterations(make_case, monkeypatch):
    calls = []

    def fail(*args):
        calls.append(args)
        if len(calls) == 1:  # rest is found
            return solve_equilibrium(*args)
        raise DivergedError(7)

    replace_newton(monkeypatch, fail)
    (run,) = solve(make_case(), "fast").runs
    assert len(run.rows) == 1 and not run.reached
    assert run.rows[0]["newton_iterations"] == 7 * (len(calls) - 1) > 7
    end = run.termination
    assert (end.kind, end.step, end.steps) == (TerminationKind.NOT_CONVERGED, 1, 5)
    assert end.unresolved and not end.buckles
    check_place(end, run.rows[0])
    assert_states(reason(end), "step 1 of 5", "smaller loads", "more steps")


def test_path_that_fails_keeps_its_last_state(make_case, monkeypatch):
    """Beyond 8 kPa there is no convergence; the last state before is kept, though not requested."""

    def fail(model, loading, x, loads):
        trial, iterations = solve_equilibrium(model, loading, x, loads)
        if trial.loads[PRESSURE] > 8e-3:
            raise DivergedError(iterations)
        return trial, iterations

    replace_newton(monkeypatch, fail)
    (run,) = solve(make_case(pressure__steps=3), "fast").runs
    assert [row["requested"] for row in run.rows] == [True, True, False]
    assert 7.9 < run.rows[-1]["pressure_kPa"] <= 8
    end = run.termination
    assert (end.kind, end.step, end.steps) == (TerminationKind.NOT_CONVERGED, 2, 3)
    check_place(end, run.rows[-1])
    assert_states(reason(end), "no equilibrium", "step 2 of 3")
    assert not run.reached and run.limit_row is None


def test_bare_tube_ends_at_its_balloon_limit(make_case, tmp_path):
    """For radii 6 and 8: 0.21564766 mu at a/A = 1.747449, with some states beyond.

    Green & Zerna, Theoretical Elasticity, ch. III; formula from memory, re-derived.
    """
    tube = {"bore_radius": "6 mm", "wall": "2 mm", "length": "160 mm"}
    rubber = {"law": "neo-Hookean", "shear_modulus": "100 kPa"}
    pressure = {"end": "25 kPa", "steps": 5}
    case = make_case(tube=tube, rubber=rubber, threads=[], pressure=pressure)
    result = solve(case, "fast")
    (run,) = result.runs
    assert not run.reached
    assert [row["requested"] for row in run.rows] == [True] * 5 + [False] * 4
    (limit,) = (row for row in run.rows if row["limit"])
    assert limit is run.rows[5]
    # the maximum of a cubic between the two adjacent states
    assert limit["pressure_kPa"] == pytest.approx(21.564766, rel=1e-4)
    assert limit["bore_stretch"] == pytest.approx(1.747449, rel=1e-2)
    end = run.termination
    assert end.kind is TerminationKind.LIMIT_POINT and run.ends_at_limit
    assert end.pressure_kPa == limit["pressure_kPa"] and end.bore_stretch == limit["bore_stretch"]
    match = re.fullmatch(
        rf"balloon limit at {NUMBER} kPa, twist {NUMBER} deg, bore stretch {NUMBER}", reason(end)
    )
    for number, column in zip(
        match.groups(), ["pressure_kPa", "twist_deg", "bore_stretch"], strict=True
    ):
        assert float(number) == pytest.approx(limit[column], rel=1e-3, abs=0.05)  # it is rounded
    beyond = [row["pressure_kPa"] for row in run.rows[5:]]
    assert sorted(beyond, reverse=True) == beyond
    result.save(tmp_path)
    record = json.loads((tmp_path / "run.json").read_text(encoding="utf-8"))
    assert record["runs"][0]["termination"] == run.termination.data()
    assert record["runs"][0]["termination"]["kind"] == "limit_point"


def test_volume_drive_passes_the_limit_point(make_case):
    case = make_case(threads=[], volume={"added": "30 mL", "steps": 6})
    (run,) = solve(case, "fast").runs
    assert run.reached and reason(run.termination) == ""
    (limit,) = (row for row in run.rows if row["limit"])
    assert run.limit_row is limit and not run.ends_at_limit
    assert not limit["requested"]
    assert limit["pressure_kPa"] == max(row["pressure_kPa"] for row in run.rows)
    assert all(row["stable"] for row in run.rows)
    volumes = [row["volume_mm3"] for row in run.rows if row["requested"]]
    assert volumes == pytest.approx([np.pi * 25 * 60 + 5000 * step for step in range(7)], rel=1e-9)


def test_gas_drive_has_a_column_of_the_supplied_air(make_case):
    case = make_case(gas={"mass": "2 mg", "steps": 4, "line_volume": "1 mL"})
    (run,) = solve(case, "fast").runs
    assert [row["air_mg"] for row in run.rows] == pytest.approx([0, 0.5, 1, 1.5, 2], abs=1e-6)


def test_dead_loads_act_before_the_first_row(make_case):
    (run,) = solve(make_case(**PULLED), "fast").runs
    for row in run.rows:
        assert row["end_force_N"] == pytest.approx(2.0, abs=1e-6)
        assert row["end_torque_Nmm"] == pytest.approx(-5.0, abs=1e-6)
    assert run.rows[0]["pressure_kPa"] == 0.0
    assert run.rows[0]["displacement_mm"] > 0.1
    assert run.rows[0]["energy_gap"] == 0.0


def test_fixed_end_reports_its_reactions(make_case):
    (run,) = solve(make_case(end={"axial": "held", "twist": "held"}), "fast").runs
    last = run.rows[-1]
    assert last["displacement_mm"] == pytest.approx(0, abs=1e-6)
    assert last["twist_deg"] == pytest.approx(0, abs=1e-6)
    assert abs(last["end_force_N"]) > 0.1
    assert abs(last["end_torque_Nmm"]) > 0.1


def test_moved_end_reaches_its_requested_position(make_case):
    case = make_case(pressure__steps=2, move={"twist": "-10 deg", "steps": 2})
    (run,) = solve(case, "fast").runs
    free, halfway, there = (row["twist_deg"] for row in run.rows[2:])
    assert there == pytest.approx(-10, abs=1e-6)
    assert halfway == pytest.approx((free - 10) / 2, abs=1e-5)
    assert [row["pressure_kPa"] for row in run.rows[2:]] == pytest.approx([15] * 3, abs=1e-6)


def test_dead_load_beyond_the_stretch_limit_keeps_a_valid_state(make_case):
    (run,) = solve(make_case(threads=[], end={"force": "5000 N"}), "fast").runs
    (row,) = run.rows
    end = run.termination
    assert (end.kind, end.allowed_stretch) == (TerminationKind.END_LOADS, 8.0)
    assert_states(reason(end), "no equilibrium", "wall stretch", " 8")
    assert not row["requested"] and row["energy_gap"] == 0.0
    assert 7.5 < row["wall_stretch_max"] <= 8.0


def test_prestress_that_buckles_the_tube(make_case):
    families = [
        {"name": name, "count": 12, "angle": f"{sign}70 deg", "stiffness": "200 N"}
        | {"slack": f"cut at {sign}65 deg"}
        for name, sign in (("A", ""), ("B", "-"))
    ]
    (run,) = solve(make_case(threads=families), "fe", MESH).runs
    (row,) = run.rows
    end = run.termination
    assert (end.kind, end.buckles) == (TerminationKind.THREADS_TOO_SHORT, True)
    assert 0.7 < end.taken_up < 0.8
    assert_states(reason(end), "too short", "buckles", f"{100 * end.taken_up:.3g} %")
    assert not end.unresolved and not row["requested"] and row["stable"]


@pytest.mark.parametrize("added", ["300 mL", "10 L"])
def test_energy_gap_is_small_for_one_large_step(make_case, added):
    case = make_case(threads=[], pressure=None, volume={"added": added, "steps": 1})
    (run,) = solve(case, "fast").runs
    assert any(row["limit"] for row in run.rows)
    assert max(row["energy_gap"] for row in run.rows) < 2e-3
