"""From a case to a folder: what is asked for, what is kept when it fails, what is written."""

import json

import meshio
import pandas as pd
import pytest
import pyvista

from fem.complaint import InputError
from fem.path import DivergedError
from fem.run import MODELS, solve

MESH = "1x1x4"
LEADING = ["model", "step", "pressure_kPa", "twist_deg", "displacement_mm", "stretch"]
LEADING += ["mid_radius_mm", "bulge_mm", "volume_mm3"]
FAMILY = ["tension_N", "tension_peak_N", "taut"]
TRAILING = ["wall_stretch_max", "newton_iterations", "stable"]


@pytest.fixture(scope="module")
def result(make_case):
    return solve(make_case(pressure__steps=2), resolution=MESH)


def test_columns_are_those_that_are_promised(result):
    families = [f"{what}.{name}" for name in "AB" for what in FAMILY]
    assert list(result.steps.columns) == LEADING + families + TRAILING


def test_written_table_is_the_table(result, tmp_path):
    result.save(tmp_path)
    pd.testing.assert_frame_equal(pd.read_csv(tmp_path / "steps.csv"), result.steps)


def test_shapes_are_read_by_others(result, tmp_path):
    result.save(tmp_path)
    mesh = meshio.read(tmp_path / "shape_002.vtu")
    assert set(mesh.cells_dict) == {"hexahedron27", "line"}
    assert {"part", "tension_N"} <= set(mesh.cell_data)
    assert len(pyvista.get_reader(tmp_path / "shape.pvd").time_values) == 3


def test_provenance_is_whole(result, tmp_path):
    result.save(tmp_path)
    told = json.loads((tmp_path / "run.json").read_text(encoding="utf-8"))
    assert told["case"] == result.case.model_dump(mode="json")
    assert told["case_hash"] == result.case.hash
    assert {"numpy", "gmsh"} <= set(told["versions"])
    for run in told["runs"]:
        assert {"energy_gap", "end_force_gap", "end_torque"} <= set(run["balance"])


def test_a_balance_that_is_no_number_is_written_as_null(result, tmp_path, monkeypatch):
    monkeypatch.setitem(result.runs[0].balance, "energy_gap", float("nan"))
    result.save(tmp_path)
    told = json.loads((tmp_path / "run.json").read_text(encoding="utf-8"))
    assert told["runs"][0]["balance"]["energy_gap"] is None


def test_only_the_own_older_shapes_are_removed(result, make_case, tmp_path):
    theirs = tmp_path / "shape_of_my_own.vtu"
    numbered = tmp_path / "shape_900.vtu"
    for file in (theirs, numbered):
        file.write_text("not ours")
    result.save(tmp_path)
    assert (tmp_path / "shape_002.vtu").exists()
    solve(make_case(pressure__steps=1), "fast").save(tmp_path)
    assert not list(tmp_path.glob("shape_00?.vtu")) and not (tmp_path / "shape.pvd").exists()
    assert theirs.exists() and numbered.exists()


@pytest.mark.parametrize("models", [["fe", "fsat"], "f", [], ""])
def test_unknown_models_are_refused_before_any_work(make_case, models):
    def never(*_):
        raise AssertionError("a model was solved")

    with pytest.raises(InputError, match="allowed are fe, fast"):
        solve(make_case(), models, MESH, report=never)


def test_one_model_may_be_named_by_itself(make_case):
    assert [run.model for run in solve(make_case(), "fast").runs] == ["fast"]


def test_interruption_keeps_what_is_done_and_starts_nothing_else(make_case):
    def interrupt(model, done, of):
        if done == 1:
            raise KeyboardInterrupt

    (run,) = solve(make_case(pressure__steps=3), MODELS, MESH, report=interrupt).runs
    assert (run.model, run.interrupted, run.reached, len(run.rows)) == ("fe", True, False, 2)
    assert run.reason == "interrupted after 5 kPa"


def test_a_path_that_ends_at_rest_tells_its_vain_iterations(make_case, monkeypatch):
    def fail(*_):
        raise DivergedError(7)

    monkeypatch.setattr("fem.path.correct", fail)
    (run,) = solve(make_case(), "fast").runs
    assert len(run.rows) == 1 and not run.reached
    assert run.rows[0]["newton_iterations"] % 7 == 0 < run.rows[0]["newton_iterations"]
    assert run.reason.endswith("try a lower pressure or more steps")


def test_bare_tube_ends_before_its_balloon_limit(make_case):
    """The limit is that of REFERENCES T1e: 0.2157 mu for radii 6 and 8, A and B below."""
    tube = {"bore_radius": "6 mm", "wall": "2 mm", "length": "160 mm"}
    rubber = {"law": "neo-Hookean", "shear_modulus": "100 kPa"}
    pressure = {"end": "25 kPa", "steps": 5}
    (run,) = solve(make_case(tube=tube, rubber=rubber, threads=[], pressure=pressure), "fast").runs
    assert not run.reached
    # 0.21564766 mu: Green & Zerna, formula from memory, re-derived; page not seen. The path ends
    # where a thousandth of the demanded 5 kPa step fails, cut by quarters
    assert 21.564766 - 0.04 < run.rows[-1]["pressure_kPa"] <= 21.564766 + 1e-4
