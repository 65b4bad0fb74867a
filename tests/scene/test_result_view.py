"""Views of results: their states, labels and names."""

import math
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fem.core.errors import InputError
from fem.results.result import Result
from fem.scene.result_view import at_rest, load_cases, load_views, names_of, result_views
from fem.scene.still.readouts import readouts
from fem.solving.single import solve
from fem.wording.run_sections import drive_columns
from tests.helpers.messages import assert_states, refused
from tests.helpers.pictures import cut


def test_each_model_has_its_states_and_shapes(result):
    fe, fast = result_views(result)
    assert (fe.model, fast.model) == ("fe", "fast")
    for view, run in zip((fe, fast), result.runs, strict=True):
        assert view.name == "Greenhouse wrist"
        assert view.case is result.case
        assert view.rows == run.rows
        assert view.labels == ["at rest", "7.5 kPa", "15 kPa"]
        assert view.note == ""
        for row, shape in zip(view.rows, view.shapes, strict=True):
            top = (shape.nodes + shape.displacement)[:, 2].max()
            assert top == pytest.approx(row["stretch"] * result.case.tube.length)
    assert fe.shapes == result.runs[0].shapes


def test_a_run_without_shapes_has_no_view(result):
    fe, fast = result.runs
    assert result_views(Result(result.case, [replace(fe, shapes=[])])) == []
    assert [e.model for e in result_views(Result(result.case, [replace(fe, shapes=[]), fast]))] == [
        "fast"
    ]


def test_an_early_end_has_a_note(result):
    (view,) = result_views(Result(result.case, [cut(result.runs[0], 1)]))
    assert len(view.rows) == len(view.shapes) == 2
    assert_states(view.note, "no equilibrium", "7.5 kPa", "step 2 of 2")


def test_nothing_is_shown_beyond_a_balloon_limit(make_case):
    result = solve(make_case(threads=[], pressure={"end": "30 kPa", "steps": 4}), "fast")
    (view,) = result_views(result)
    assert result.runs[0].rows[-1]["step"] > view.rows[-1]["step"]
    assert view.rows[-1]["limit"]
    pressure = f"{view.rows[-1]['pressure_kPa']:.3g} kPa"
    assert view.labels[-1] == f"balloon limit, {pressure}"
    assert view.note.startswith("balloon limit at")
    assert len(view.shapes) == len(view.rows)


def test_states_of_a_move_are_labelled_by_it(make_case):
    case = make_case(move={"twist": "5 deg", "steps": 2}, pressure__steps=2, end={"force": "1 N"})
    (view,) = result_views(solve(case, "fast"))
    assert view.labels[:3] == ["before inflation", "7.5 kPa", "15 kPa"]
    assert view.labels[-1] == "5 deg"


def test_states_are_labelled_by_the_requested_value(make_case):
    """It is a volume or air, followed by the pressure of each model."""
    liquid = {"added": "2 mL", "steps": 2}
    result = solve(make_case(pressure=None, volume=liquid), "fast")
    (view,) = result_views(result)
    rows = result.runs[0].rows
    at = [f"{row['pressure_kPa']:.3g} kPa" for row in rows]
    assert view.labels == ["at rest", f"1 mL added, {at[1]}", f"2 mL added, {at[2]}"]
    added = [(row["volume_mm3"] - rows[0]["volume_mm3"]) / 1000 for row in rows]
    assert [row["added_mL"] for row in view.rows] == added
    assert [column.column for column in drive_columns(view.case)] == ["added_mL"]
    titles = [line.title for line in readouts([view])]
    assert titles[:2] == ["added [mL]", "pressure [kPa]"]

    air = {"mass": "5 mg", "steps": 2}
    (view,) = result_views(solve(make_case(pressure=None, gas=air), "fast"))
    row = view.rows[2]
    assert view.labels[2] == f"{row['air_mg']:.3g} mg of air, {row['pressure_kPa']:.3g} kPa"
    assert readouts([view])[0].title == "air [mg]"
    bench = replace(view, model="bench", rows=[{"pressure_kPa": 3.0, "twist_deg": 1.0}])
    assert bench._label(bench.rows[0] | {"displacement_mm": -2.0}) == "3 kPa"


def test_a_single_state_has_its_label(result):
    fe, _ = result_views(result)
    last = replace(fe, rows=fe.rows[-1:], shapes=fe.shapes[-1:])
    assert last.labels == ["15 kPa"]


def test_labels_have_minus_signs(make_case):
    case = make_case(move={"twist": "-5 deg", "steps": 1}, pressure__steps=1)
    (view,) = result_views(solve(case, "fast"))
    assert view.labels[-1] == "\N{MINUS SIGN}5 deg"


def test_a_row_of_unknown_motion_can_be_at_rest():
    unknown = {"pressure_kPa": 0.0, "twist_deg": math.nan, "displacement_mm": math.nan}
    assert at_rest(unknown)
    assert not at_rest(unknown | {"pressure_kPa": 1.0})
    assert not at_rest(unknown | {"twist_deg": 0.1})


def test_results_of_equal_titles_are_named_by_their_folders(result, make_case, tmp_path):
    fast = Result(result.case, result.runs[1:])
    fast.save(tmp_path / "first")
    shutil.copytree(tmp_path / "first", tmp_path / "second")
    solve(make_case(title="Other", pressure__steps=1), "fast").save(tmp_path / "third")
    both = load_views([tmp_path / "first", tmp_path / "second", tmp_path / "third"])
    assert [view.name for view in both] == ["first", "second", "Other"]
    assert load_views([tmp_path / "first"])[0].name == "Greenhouse wrist"
    assert np.array_equal(both[0].shapes[2].nodes, result_views(fast)[0].shapes[2].nodes)
    with pytest.raises(InputError, match="no such folder"):
        load_views([tmp_path / "first", tmp_path / "fourth"])


def test_folders_of_equal_names_have_the_shortest_distinct_path(tmp_path):
    """The expected names were derived by hand from the tree below."""
    tree = ["p/out", "q/out", "lone", "deep/a/out", "out", "other"]
    titles = [*["Wrist"] * 5, "Lifter"]
    found = names_of([tmp_path / folder for folder in tree], titles)
    assert found == ["p/out", "q/out", "lone", "a/out", f"{tmp_path.name}/out", "Lifter"]
    assert names_of([Path("/out"), Path("/p/out")], ["W", "W"]) == ["/out", "p/out"]


def test_cases_are_read_without_shapes_and_named_like_views(result, tmp_path):
    for folder in ("p/out", "q/out"):
        result.save(tmp_path / folder)
    folders = [tmp_path / "p" / "out", tmp_path / "q" / "out"]
    shown = load_views(folders)
    (folders[1] / "shape_001.vtu").write_bytes(b"damaged")
    cases = load_cases(folders)
    assert list(cases) == list(dict.fromkeys(view.name for view in shown))
    assert [case.hash for case in cases.values()] == 2 * [result.case.hash]
    with pytest.raises(InputError, match="twice"):
        load_cases([folders[0], folders[0]])


def test_a_folder_that_is_given_twice_is_refused(result, tmp_path):
    Result(result.case, result.runs[1:]).save(tmp_path / "wrist")
    again = tmp_path / "wrist" / ".." / "wrist"
    with pytest.raises(InputError, match="twice") as refusal:
        load_views([tmp_path / "wrist", again])
    assert str(refusal.value).startswith(str(again))


def test_missing_shapes_of_the_fe_model_are_refused(result, tmp_path):
    """Otherwise only the fast model would be shown, as if FE had not been requested."""
    result.save(tmp_path / "wrist")
    (tmp_path / "wrist" / "shape.pvd").unlink()
    for load in (load_views, load_cases):
        with refused(InputError, str(tmp_path / "wrist" / "shape.pvd"), "missing"):
            load([tmp_path / "wrist"])
    Result(result.case, result.runs[1:]).save(tmp_path / "fast")
    assert [view.model for view in load_views([tmp_path / "fast"])] == ["fast"]
    assert len(load_cases([tmp_path / "fast"])) == 1
