"""The measures: each against its plain definition."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fem.measure import Snapshot, ThreadLinks, measures
from fem.thread import ThreadFamily

FAMILY = ThreadFamily(name="A", count=2, angle="20 deg", stiffness="200 N")


def links(tension, rest, thread=None):
    thread = np.zeros(len(rest), dtype=int) if thread is None else np.array(thread)
    return ThreadLinks(FAMILY, np.array(tension, dtype=float), np.array(rest, dtype=float), thread)


PIECES = st.lists(st.tuples(st.integers(0, 9), st.integers(1, 5)), min_size=1, max_size=8)


@given(pieces=PIECES, window=st.integers(1, 50))
def test_peak_tension_is_the_greatest_of_all_windows(pieces, window):
    """Lengths and window are whole numbers, so that windows from whole numbers will do."""
    tension, rest = zip(*pieces, strict=True)
    drawn = np.repeat(tension, rest)
    window = min(window, len(drawn))
    expected = max(np.convolve(drawn, np.ones(window), "valid")) / window
    found = links(tension, rest).peak_tension(float(window))
    assert found == pytest.approx(expected, rel=1e-12, abs=1e-12)  # round-off of a sum


def test_peak_over_a_window_that_is_no_multiple_of_a_link():
    # worked by hand: the best window of 1.5 takes all of the 6 and half of the 4
    assert links([1, 6, 4, 0], [1, 1, 1, 1]).peak_tension(1.5) == pytest.approx(8 / 1.5, rel=1e-15)


def test_peak_over_a_window_longer_than_the_thread_is_the_mean():
    chain = links([1, 6, 4], [1, 2, 1])
    assert chain.peak_tension(100.0) == pytest.approx(chain.mean_tension, rel=1e-15)  # round-off


def test_peak_over_a_short_window_is_the_greatest_link():
    assert links([1, 6, 4], [1, 2, 1]).peak_tension(0.01) == pytest.approx(
        6, rel=1e-12
    )  # round-off


def test_window_does_not_reach_from_one_thread_to_the_next():
    two = links([0, 8, 8, 0], [1, 1, 1, 1], thread=[0, 0, 1, 1])
    assert two.peak_tension(2.0) == pytest.approx(4.0, rel=1e-15)  # as one thread it would be 8
    assert links([0, 8, 8, 0], [1, 1, 1, 1]).peak_tension(2.0) == pytest.approx(8.0, rel=1e-15)


def test_links_of_a_thread_need_not_stand_together():
    two = links([0, 8, 2, 6], [1, 1, 1, 1], thread=[0, 1, 0, 1])
    assert two.peak_tension(2.0) == pytest.approx(7.0, rel=1e-15)  # round-off


def test_mean_tension_weighs_by_length():
    assert links([1, 4], [3, 1]).mean_tension == 7 / 4


def test_taut_share_is_the_length_under_tension():
    assert links([0, 2, 0, 1], [1, 2, 4, 1]).taut_share == 3 / 8
    assert links([0, 0], [1, 2]).taut_share == 0.0
    assert links([1, 2], [1, 2]).taut_share == 1.0


def test_round_off_is_no_tension():
    assert links([1e-13, 1e-9], [1, 1]).taut_share == 0.5  # EA = 200 N: 5e-16 and 5e-12 of it


@pytest.fixture
def tube(make_case):
    return make_case().tube


def snapshot(**changes):
    seen = {
        "twist": -0.5,
        "displacement": -6.0,
        "outer_z": np.array([0.0, 10.0, 30.0, 30.0, 60.0]),
        "outer_growth": np.array([0.0, 2.0, 1.0, 1.2, 0.0]),
        "volume": 5000.0,
        "wall_stretch": 1.4,
        "threads": [links([1, 4], [3, 1])],
    }
    return Snapshot(**(seen | changes))


def test_columns_follow_from_the_snapshot(tube):
    row = measures(snapshot(), tube)
    assert row["twist_deg"] == pytest.approx(-0.5 * 180 / math.pi, rel=1e-15)  # round-off
    assert row["displacement_mm"] == -6.0
    assert row["stretch"] == pytest.approx(54 / 60, rel=1e-15)
    assert row["volume_mm3"] == 5000.0
    assert row["wall_stretch_max"] == 1.4
    assert row["tension_N.A"] == 7 / 4
    assert row["taut.A"] == 1.0


def test_mid_radius_is_taken_at_half_length_and_the_bulge_anywhere(tube):
    row = measures(snapshot(), tube)
    assert row["mid_radius_mm"] == pytest.approx(6.5 + 1.1, rel=1e-15)
    assert row["bulge_mm"] == 2.0


def test_peak_tension_is_taken_over_one_wall_thickness(tube):
    chain = links([0, 9, 3], [1, 1, 1])
    row = measures(snapshot(threads=[chain]), tube)
    assert row["tension_peak_N.A"] == pytest.approx((9 + 3 / 2) / 1.5, rel=1e-15)
    assert tube.wall == 1.5


def test_each_family_has_its_columns(tube):
    other = ThreadLinks(
        FAMILY.model_copy(update={"name": "B"}), np.ones(1), np.ones(1), np.zeros(1, dtype=int)
    )
    row = measures(snapshot(threads=[links([0], [1]), other]), tube)
    assert (row["tension_N.A"], row["tension_N.B"]) == (0.0, 1.0)
    assert (row["taut.A"], row["taut.B"]) == (0.0, 1.0)


@pytest.mark.parametrize("resolution", ["1x1x2", "1x1x3"])
def test_both_models_have_a_point_at_half_length(make_case, make_model, resolution):
    from fem.fast.model import FastModel

    case = make_case()
    for model in (make_model(case, resolution), FastModel(case)):
        row = measures(model.snapshot(model.rest()), case.tube)
        assert row["mid_radius_mm"] == pytest.approx(6.5, rel=1e-12)  # round-off
        assert row["bulge_mm"] == pytest.approx(0.0, abs=1e-12)
        assert row["wall_stretch_max"] == pytest.approx(1.0, abs=1e-12)
        assert row["tension_N.A"] == pytest.approx(0.0, abs=1e-12)
        # the mesh bounds the bore by parabolas, not by arcs
        assert row["volume_mm3"] == pytest.approx(math.pi * 25 * 60, rel=1e-3)


def test_both_models_have_the_same_columns(make_case, make_model):
    from fem.fast.model import FastModel

    case = make_case()
    rows = [
        measures(m.snapshot(m.rest()), case.tube)
        for m in (make_model(case, "1x1x2"), FastModel(case))
    ]
    assert list(rows[0]) == list(rows[1])
