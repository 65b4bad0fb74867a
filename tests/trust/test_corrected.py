"""The corrected fast model: a known difference, symmetry, files, settings outside the study.

The FE model is replaced by the fast model plus a known function, except in the last test.
"""

import json
import math

import numpy as np
import pandas
import pytest

from fem.core.cache import MeshCache
from fem.core.errors import InputError
from fem.solving.batch import solve_batch
from fem.solving.single import solve
from fem.study.results_db import Curve
from fem.study.study_result import StudyResult, tabulate
from fem.trust import CorrectedModel
from fem.trust.pairs import BOTH, errors, pairs
from fem.trust.symmetry import exchangeable, mirrors_itself, symmetries
from tests.helpers.messages import assert_states, refused
from tests.helpers.records import study_record
from tests.helpers.trust_toys import make_study, two_angles

QUANTITIES = ("twist_deg", "displacement_mm")
SCATTER = {"points": 24, "seed": 1}


def curve_of(case, run):
    names = dict.fromkeys(name for row in run.rows for name in row)
    steps = {name: [row.get(name) for row in run.rows] for name in names}
    return Curve(case.key, run.model, "reached" if run.reached else "ended", steps=steps)


def made_up(study, difference):
    """Return the result of a study whose FE model is the fast model plus a difference.

    `difference` returns the values to add, by columns, from rows of the fast model.
    """
    cases = [study.case_of(setting) for setting in study.settings]
    curves = [curve_of(c, run) for c, run in zip(cases, solve_batch(cases), strict=True)]
    fast = tabulate(study, cases, curves)
    fe = fast.assign(model="fe")
    for name, more in difference(fast).items():
        fe[name] = fe[name] + more
    table = pandas.concat([fast, fe], ignore_index=True)
    return StudyResult(study, table, study_record(study))


def softer(rows):
    """Return a difference with the symmetries of mirror image and exchange of A and B."""
    twist, p = rows["twist_deg"], rows["pressure_kPa"] / 15
    a, b = (np.radians(rows[f"angle_deg.{name}"]) for name in "AB")
    return {
        "twist_deg": -0.1 * twist * (1 + p) + 3 * p**2 * np.sin(2 * (a + b)),
        "displacement_mm": 0.5 * p**2 * np.cos(a) * np.cos(b) - 0.05 * rows["displacement_mm"],
    }


@pytest.fixture(scope="module")
def study_result():
    return made_up(two_angles(steps=4, scatter=SCATTER, set={"pressure.end": "10 kPa"}), softer)


@pytest.fixture(scope="module")
def model(study_result):
    return CorrectedModel.fit(study_result, QUANTITIES)


def setting(a, b):
    return {"threads.A.angle": f"{a} deg", "threads.B.angle": f"{b} deg"}


def test_a_known_difference_is_recovered(model):
    rng = np.random.default_rng(2)
    settings = [setting(*pair) for pair in rng.uniform(-29, 29, (12, 2)).round(2)]
    answer = model.predict(settings, [2.5, 5.0, 10.0])
    assert len(answer) == 36 and (answer["outside"] == "").all() and (answer["ended"] == "").all()
    fast = answer.assign(**{name: answer[f"{name}.fast"] for name in QUANTITIES})
    for name, expected in softer(fast).items():
        error = answer[name] - answer[f"{name}.fast"] - expected
        assert np.sqrt(np.mean(error**2)) < 0.1 * np.sqrt(np.mean(expected**2)), name
        assert np.mean(abs(error) < 1.96 * answer[f"{name}.std"]) > 0.85, name


def test_the_fast_values_are_those_of_the_fast_model(model):
    case = model.study.case_of(setting(12, -7))
    answer = model.predict([case])
    rows = solve(case, ["fast"]).runs[0].rows[1:]
    np.testing.assert_allclose(answer["twist_deg.fast"], [r["twist_deg"] for r in rows], rtol=1e-9)
    assert list(answer["pressure_kPa"]) == pytest.approx([2.5, 5, 7.5, 10])


def test_angles_keep_all_digits(model):
    """These angles would change if they were converted to degrees and back."""
    for angle in (0.4174845559159429, -0.48818641764510434):
        case = model.study.base.changed(threads__0__angle=f"{angle!r} rad")
        assert case.threads[0].angle == angle
        answer = model.predict([case], [5.0])
        assert answer["angle_deg.A"][0] == pytest.approx(math.degrees(angle), rel=1e-15)


def test_mirror_image_and_exchange_are_exact_to_round_off(model):
    """The mirror image of (A, B) is (-A, -B), with the opposite twist; A and B are equal."""
    plain, mirrored, swapped, both = (
        model.predict([pair])
        for pair in (setting(17, -4), setting(-17, 4), setting(-4, 17), setting(4, -17))
    )
    for other, sign in ((mirrored, -1), (swapped, 1), (both, -1)):
        np.testing.assert_allclose(other["twist_deg"], sign * plain["twist_deg"], atol=1e-8)
        np.testing.assert_allclose(other["displacement_mm"], plain["displacement_mm"], atol=1e-8)
        np.testing.assert_allclose(other["twist_deg.std"], plain["twist_deg.std"], atol=1e-8)
    opposite = model.predict([setting(15, -15)])
    assert abs(opposite["twist_deg"]).max() < 1e-8


def test_save_and_load_give_the_same_answers(model, tmp_path):
    file = tmp_path / "corrected.npz"
    model.save(file)
    loaded = CorrectedModel.load(file)
    settings = [setting(3, 21), setting(-25, 11)]
    before, after = (m.predict(settings, [4.0, 9.0]) for m in (model, loaded))
    numbers = before.select_dtypes("number").columns
    np.testing.assert_allclose(after[numbers], before[numbers], rtol=1e-12, atol=1e-12)
    assert loaded.facts == model.facts
    assert loaded.facts["study_hash"] == model.study.hash
    assert {"scikit-learn", "numpy"} <= set(loaded.facts["versions"])


def test_pickled_and_changed_files_are_refused(model, tmp_path):
    """A pickled object could run code."""
    file = tmp_path / "corrected.npz"
    np.savez(file, text=np.array([{}], dtype=object))
    with refused(InputError, str(file)):
        CorrectedModel.load(file)
    file.write_bytes(b"nothing of the kind")
    with refused(InputError, str(file)):
        CorrectedModel.load(file)
    with refused(InputError, str(tmp_path / "none.npz")):
        CorrectedModel.load(tmp_path / "none.npz")
    model.save(file)
    with np.load(file) as parts:
        arrays = dict(parts)
    data = json.loads(str(arrays.pop("text")))
    data["study"]["title"] = "Another"
    np.savez(file, text=np.array(json.dumps(data)), **arrays)
    with refused(InputError, str(file), "study", "hash"):
        CorrectedModel.load(file)
    data["study"]["title"] = model.study.title
    data["ranges"]["numbers"].popitem()
    np.savez(file, text=np.array(json.dumps(data)), **arrays)
    with refused(InputError, str(file), "ranges"):
        CorrectedModel.load(file)


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("inputs", lambda array: array[:, :3]),
        ("inputs", lambda array: array[:-1]),
        ("values_0", lambda array: array[:, None]),
        ("values_1", lambda array: array * np.nan),
        ("theta_1", lambda array: array[1:]),
        ("theta_0", lambda array: array.astype(str)),
        ("values_0", lambda array: None),
    ],
)
def test_a_file_with_inconsistent_parts_is_refused(model, tmp_path, name, change):
    file = tmp_path / "corrected.npz"
    model.save(file)
    with np.load(file) as parts:
        arrays = dict(parts)
    changed = change(arrays.pop(name))
    np.savez(file, **arrays, **({} if changed is None else {name: changed}))
    with refused(InputError, str(file)):
        CorrectedModel.load(file)


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9])
def test_a_truncated_or_damaged_file_is_refused(model, tmp_path, share):
    file = tmp_path / "corrected.npz"
    model.save(file)
    data = file.read_bytes()
    file.write_bytes(data[: int(share * len(data))])
    with refused(InputError, str(file)):
        CorrectedModel.load(file)
    bad = bytearray(data)
    bad[int(share * len(data)) + 60 :: 97] = b"?" * len(bad[int(share * len(data)) + 60 :: 97])
    file.write_bytes(bad)
    with refused(InputError, str(file)):
        CorrectedModel.load(file)


def test_no_settings_or_pressures_give_no_rows(model):
    full = model.predict([setting(5, 9)], [5.0])
    for empty in (
        model.predict([], [5.0]),
        model.predict([]),
        model.predict([setting(5, 9)], []),
        model.predict([setting(5, 9)], np.array([])),
    ):
        assert len(empty) == 0
        assert list(empty.columns) == list(full.columns)
        assert empty["twist_deg.std"].dtype == float


def test_a_setting_without_a_fast_solution_has_a_row_of_nan(model, monkeypatch):
    """Also if it is the only setting, so that there are no columns of the step table."""

    def fail(*_, **__):
        raise ArithmeticError("no rest")

    monkeypatch.setattr("fem.study.worker.solve", fail)
    answer = model.predict([setting(5, 9)], [5.0])
    assert answer["ended"].item() == "no_rest"
    assert answer[["twist_deg", "twist_deg.std", "twist_deg.fast"]].isna().all(axis=None)


def test_settings_outside_the_study_are_reported(model):
    wider = model.predict([setting(34, 5)], [5.0])
    (text,) = wider["outside"]
    assert_states(text, "outside the study", "angle.A 34 deg", " -2")
    assert np.isfinite(wider["twist_deg"]).all()
    (text,) = model.predict([setting(5, 5)], [12.0])["outside"]
    assert_states(text, "pressure 12 kPa", "0 to 10 kPa")
    thicker = model.study.case_of(setting(5, 5)).changed(tube__wall="2 mm")
    assert "tube.wall" in model.predict([thicker], [5.0])["outside"].item()
    sliding = model.study.case_of(setting(5, 5)).changed(threads__B__hold="sliding")
    assert "threads.B.hold" in model.predict([sliding], [5.0])["outside"].item()
    inside = model.study.case_of(setting(5, 5)).changed(title="Other", pressure__steps=2)
    assert (model.predict([inside])["outside"] == "").all()


def test_invalid_settings_and_pressures_are_refused(model):
    with refused(InputError, "setting", '"threads.B.angle"'):
        model.predict([{"threads.A.angle": "5 deg"}])
    with refused(InputError, "pressures", "greater than 0"):
        model.predict([setting(5, 5)], [0.0])


def test_points_that_the_fast_model_does_not_reach_are_nan(model):
    bare = model.study.case_of(setting(5, 5)).changed(
        threads__0__slack="60 %", threads__1__slack="60 %"
    )
    answer = model.predict([bare], [5.0, 20.0])
    assert answer["ended"].iloc[0] == ""
    assert answer["ended"].iloc[1] == "limit_point"
    assert np.isnan(answer["twist_deg"].iloc[1])


def test_pressures_without_a_common_path_agree_with_single_ones(model):
    """7.3, 4.1 and pi kPa are not steps of one path; each has its own path."""
    several = model.predict([setting(20, -10)], [7.3, 4.1, np.pi])
    assert list(several["pressure_kPa"]) == pytest.approx([7.3, 4.1, np.pi])
    one = model.predict([setting(20, -10)], [4.1])
    np.testing.assert_allclose(several["twist_deg"].iloc[1], one["twist_deg"].iloc[0], rtol=1e-7)


def test_symmetric_images_of_a_curve_are_not_counted():
    """A grid has up to four images of each curve."""
    grid = two_angles(5, steps=2, set={"pressure.end": "6 kPa"})
    model = CorrectedModel.fit(made_up(grid, softer), QUANTITIES)
    # 25 pairs of -30, -15, 0, 15, 30 deg under (a, b) -> (b, a) and (-a, -b) are 9 sets of images
    assert model.facts["curves"] == 9
    assert model.facts["points"] == 18


def test_held_out_errors_are_those_of_the_table(model):
    points = model.held_out
    found = model.facts["errors"]["twist_deg"]
    before = points["twist_deg.fast"] - points["twist_deg.fe"]
    after = points["twist_deg.corrected"] - points["twist_deg.fe"]
    assert found["rms_before"] == pytest.approx(np.sqrt(np.mean(before**2)))
    assert found["rms_after"] == pytest.approx(np.sqrt(np.mean(after**2)))
    assert found["worst_after"] == pytest.approx(abs(after).max())
    assert found["rms_after"] < found["rms_before"] / 3


def test_too_few_curves_and_unknown_quantities_are_refused():
    few = made_up(two_angles(2, steps=2, set={"pressure.end": "6 kPa"}), softer)
    with refused(InputError, few.study.title, "2 curves", " 8 "):
        CorrectedModel.fit(few, QUANTITIES)
    with refused(InputError, "quantity", '"turn_deg"'):
        CorrectedModel.fit(few, ["turn_deg"])


def test_a_quantity_that_is_equal_in_both_models_gets_no_correction(study_result):
    model = CorrectedModel.fit(study_result, ["bulge_mm"])
    assert not model.fits
    answer = model.predict([setting(5, 9)])
    np.testing.assert_array_equal(answer["bulge_mm"], answer["bulge_mm.fast"])
    assert (answer["bulge_mm.std"] == 0).all()


# ------------------------------------------------------------------------------------- symmetry


ANGLE = {"from": "-30 deg", "to": "30 deg", "count": 3}


def test_symmetries_of_studies():
    both = two_angles(3)
    assert mirrors_itself(both) and exchangeable(both) == [("A", "B")]
    assert len(symmetries(both)) == 4
    one = make_study([{"field": "threads.A.angle", **ANGLE}])
    assert not mirrors_itself(one)  # B has a fixed angle
    assert exchangeable(one) == [] and len(symmetries(one)) == 1
    straight = make_study([{"field": "threads.A.angle", **ANGLE}], set={"threads.B.angle": "0 deg"})
    assert mirrors_itself(straight)
    stiffer = two_angles(3, set={"threads.B.stiffness": "300 N"})
    assert mirrors_itself(stiffer) and exchangeable(stiffer) == []
    with_torque = two_angles(3, set={"end.torque": "5 N mm"})
    assert not mirrors_itself(with_torque)


def test_families_are_exchanged_together_with_their_slack():
    vary = [{"field": f"threads.{name}.angle", **ANGLE} for name in "AB"]
    vary += [{"field": f"threads.{n}.slack", "values": ["taken up", "2 %"]} for n in "AB"]
    assert exchangeable(make_study(vary)) == [("A", "B")]
    assert exchangeable(make_study(vary[:3])) == []


def test_another_drive_and_a_text_field(tmp_path):
    vary = [
        {"field": "threads.A.angle", "from": "5 deg", "to": "30 deg", "count": 5},
        {"field": "threads.A.slack", "values": ["taken up", "2 %"]},
    ]
    study = make_study(vary, set={"threads.B.angle": "0 deg"})
    data = study.base.data
    del data["pressure"]
    data["volume"] = {"added": "2 mL", "steps": 3}
    study = type(study).restore({**study.data, "set": {}}, data)
    study_result = made_up(study, lambda rows: {"twist_deg": 0.1 * rows["twist_deg"]})
    model = CorrectedModel.fit(study_result, ["twist_deg", "pressure_kPa"])
    assert list(model.fits) == ["twist_deg"]
    answer = model.predict([{"threads.A.angle": "11 deg", "threads.A.slack": "taken up"}])
    assert list(answer["ordinal"]) == [1, 2, 3]
    np.testing.assert_allclose(answer["twist_deg"], 1.1 * answer["twist_deg.fast"], rtol=0.02)
    other = model.predict([{"threads.A.angle": "11 deg", "threads.A.slack": "3 %"}])
    assert_states(other["outside"].iloc[0], 'slack.A "3 %"', '"2 %"', '"taken up"')
    with refused(InputError, "pressures", "driven by pressure"):
        model.predict([study.settings[0]], [3.0])


# -------------------------------------------------------------------------------- the FE model


@pytest.mark.slow
def test_forty_fe_curves_reduce_the_error_to_a_fifth():
    """Limits: RMS errors of new curves at most 1/5, 90 to 99 % of the points within the band."""
    vary = [{"field": "threads.A.slack", "same": ["threads.B.slack"]}]
    vary[0]["values"] = ["taken up", "cut at 30 deg"]
    vary += [{"field": f"threads.{n}.angle", "from": "-30 deg", "to": "30 deg"} for n in "AB"]
    known = _solved(make_study(vary, steps=10, scatter={"points": 20, "seed": 1}))
    new = _solved(make_study(vary, steps=10, scatter={"points": 16, "seed": 2}))
    model = CorrectedModel.fit(known)
    found = pairs(new)
    found = found[found["state"] == BOTH]
    answer = model.predict(new.study.settings)
    keys = ["case", "ordinal"]
    columns = [name for column in model.quantities for name in (column, f"{column}.std")]
    points = found.merge(answer[keys + columns], on=keys)
    assert len(points) == len(found) > 250
    for column in model.quantities:
        points[f"{column}.corrected"] = points[column]
        found_errors = errors(points, column)
        assert found_errors["rms_after"] < found_errors["rms_before"] / 5, column
    assert 0.9 <= errors(points, "twist_deg")["in_band"] <= 0.99


def _solved(study):
    cases = [study.case_of(values) for values in study.settings]
    curves = [curve_of(c, run) for c, run in zip(cases, solve_batch(cases), strict=True)]
    mesh_cache = MeshCache()
    for case in cases:
        (run,) = solve(case, ["fe"], "coarse", mesh_cache=mesh_cache).runs
        curves.append(curve_of(case, run))
    run_record = study_record(study)
    return StudyResult(study, tabulate(study, cases, curves), run_record)
