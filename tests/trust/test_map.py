"""The trust map: errors and shares of a known difference, and points that one model lacks."""

import numpy as np
import pytest

from fem.core.errors import InputError
from fem.trust import parse, trust_map
from fem.trust.pairs import BOTH, FAST_ENDED, FE_ENDED, pairs
from tests.helpers.messages import refused
from tests.helpers.trust_toys import make_study, of_angles, tabulated, two_angles


def fast(own, pressure):
    return {"twist_deg": 5.0 + own["angle_deg.A"] * pressure, "displacement_mm": 0.1 * pressure}


def difference(own, pressure):
    return {"twist_deg": -0.2 * pressure, "displacement_mm": 0.01 * pressure}


def ends(model, own):
    if own["angle_deg.A"] < 0:
        return 3 if model == "fe" else 5
    return 5 if model == "fe" or own["angle_deg.B"] < 0 else 4


def test_errors_are_fast_minus_fe_and_shares_refer_to_the_tolerance():
    study_result = tabulated(two_angles(3), fast, difference)
    table = trust_map(study_result, parse("twist 2.4 deg, displacement 0.5 mm", study_result))
    assert len(table) == 9 * 5  # without rest
    pressure = table["pressure_kPa"].to_numpy()
    assert sorted(set(pressure)) == pytest.approx([3, 6, 9, 12, 15])
    np.testing.assert_allclose(table["twist_deg.error"], 0.2 * pressure)
    np.testing.assert_allclose(table["displacement_mm.error"], -0.01 * pressure)
    np.testing.assert_allclose(table["displacement_mm.share"], 0.02 * pressure)
    np.testing.assert_allclose(table["share"], pressure / 12)
    assert table["trusted"][pressure < 11].all() and not table["trusted"][pressure > 13].any()


def test_a_point_that_one_model_does_not_reach_is_not_trusted():
    study_result = tabulated(two_angles(2), fast, difference, ends)
    table = trust_map(study_result, parse("twist 100 deg", study_result))
    incomplete = table[table["state"] != BOTH]
    assert not incomplete["trusted"].any() and incomplete["share"].isna().all()
    assert table[table["state"] == BOTH]["trusted"].all()
    fe_ended = table[table["state"] == FE_ENDED]
    assert (fe_ended["angle_deg.A"] < 0).all() and len(fe_ended) == 4
    assert fe_ended["pressure_kPa"].isin([12.0, 15.0]).all()
    fast_ended = table[table["state"] == FAST_ENDED]
    assert len(fast_ended) == 1
    assert fast_ended["pressure_kPa"].item() == 15.0
    assert fast_ended["twist_deg.fe"].notna().all() and fast_ended["twist_deg.fast"].isna().all()


def test_rows_that_were_not_requested_are_ignored():
    study_result = tabulated(two_angles(2), fast, difference)
    plain = pairs(study_result)
    rows = study_result.table
    extra = rows[(rows.step == 2) & (rows.model == "fe")].assign(requested=False, limit=True)
    import pandas

    with_extra = pandas.concat([rows.iloc[:20], extra, rows.iloc[20:]])
    other = pairs(type(study_result)(study_result.study, with_extra, study_result.run_record))
    pandas.testing.assert_frame_equal(plain, other[plain.columns])


def test_both_models_are_needed():
    study = make_study([{"field": "threads.A.angle", "values": ["5 deg", "9 deg"]}])
    study_result = tabulated(study, lambda own, p: {"twist_deg": p}, lambda own, p: {})
    alone = study_result.table[study_result.table.model == "fast"]
    incomplete = type(study_result)(study, alone, study_result.run_record)
    with refused(InputError, study.title, "fe model", '["fast", "fe"]'):
        pairs(incomplete)


def test_models_that_stay_at_rest_are_refused():
    study_result = tabulated(two_angles(2), fast, difference, lambda model, own: 0)
    with refused(InputError, study_result.study.title, "after rest"):
        trust_map(study_result, parse("twist 1 deg", study_result))


def test_toy_of_angles_is_in_radians():
    study_result = tabulated(
        two_angles(2), of_angles(lambda a, b, p: {"twist_deg": a}), lambda o, p: {}
    )
    assert study_result.table["twist_deg"].abs().max() == pytest.approx(np.pi / 6)
