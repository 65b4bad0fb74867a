"""Measures of a state, compared with their definitions."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fem.case.thread_family import ThreadFamily
from fem.fast.model import FastModel
from fem.quantities.column import measures
from fem.quantities.measures import ThreadSegments, TubeValues


def family(**keys):
    plain = {"name": "A", "count": 2, "angle": "20 deg", "stiffness": "200 N"}
    return ThreadFamily(**plain | keys)


FAMILY = family()


def segments(tension, rest, thread=None, strain=None, arm=None, family=FAMILY):
    """Return segments with these values; by default of one thread, with no strain and unit arms."""
    count = len(rest)
    return ThreadSegments(
        family,
        tension=np.array(tension, dtype=float),
        strain=np.zeros(count) if strain is None else np.array(strain),
        rest=np.array(rest, dtype=float),
        arm=np.ones(count) if arm is None else np.array(arm),
        thread=np.zeros(count, dtype=int) if thread is None else np.array(thread),
    )


PIECES = st.lists(st.tuples(st.integers(0, 9), st.integers(1, 5)), min_size=1, max_size=8)


@given(pieces=PIECES, window=st.integers(1, 50))
def test_peak_tension_is_the_greatest_of_all_windows(pieces, window):
    """Lengths and window are whole numbers, so windows that start at whole numbers suffice."""
    tension, rest = zip(*pieces, strict=True)
    drawn = np.repeat(tension, rest)
    window = min(window, len(drawn))
    expected = max(np.convolve(drawn, np.ones(window), "valid")) / window
    found = segments(tension, rest).peak_tension(float(window))
    assert found == pytest.approx(expected, rel=1e-12, abs=1e-12)  # round-off of a sum


def test_peak_over_a_window_that_is_not_a_multiple_of_a_segment():
    # worked by hand: the best window of 1.5 takes all of the 6 and half of the 4
    assert segments([1, 6, 4, 0], [1, 1, 1, 1]).peak_tension(1.5) == pytest.approx(
        8 / 1.5, rel=1e-15
    )


def test_peak_over_a_window_longer_than_the_thread_is_the_mean():
    threads = segments([1, 6, 4], [1, 2, 1])
    assert threads.peak_tension(100.0) == pytest.approx(
        threads.mean_tension, rel=1e-15
    )  # round-off


def test_peak_over_a_short_window_is_the_greatest_segment():
    assert segments([1, 6, 4], [1, 2, 1]).peak_tension(0.01) == pytest.approx(
        6, rel=1e-12
    )  # round-off


def test_window_does_not_reach_from_one_thread_to_the_next():
    two = segments([0, 8, 8, 0], [1, 1, 1, 1], thread=[0, 0, 1, 1])
    assert two.peak_tension(2.0) == pytest.approx(4.0, rel=1e-15)  # as one thread it would be 8
    assert segments([0, 8, 8, 0], [1, 1, 1, 1]).peak_tension(2.0) == pytest.approx(8.0, rel=1e-15)


def test_segments_of_a_thread_need_not_be_adjacent():
    two = segments([0, 8, 2, 6], [1, 1, 1, 1], thread=[0, 1, 0, 1])
    assert two.peak_tension(2.0) == pytest.approx(7.0, rel=1e-15)  # round-off


def test_mean_tension_is_weighted_by_length():
    assert segments([1, 4], [3, 1]).mean_tension == 7 / 4


def test_taut_fraction_is_the_length_under_tension():
    assert segments([0, 2, 0, 1], [1, 2, 4, 1]).taut_fraction == 3 / 8
    assert segments([0, 0], [1, 2]).taut_fraction == 0.0
    assert segments([1, 2], [1, 2]).taut_fraction == 1.0


def test_round_off_is_not_tension():
    assert segments([1e-13, 1e-9], [1, 1]).taut_fraction == 0.5  # EA = 200 N: 5e-16 and 5e-12 of it


def test_mean_strain_is_weighted_by_length_and_may_be_negative():
    threads = segments([0, 5], [3, 1], strain=[-0.04, 0.02])
    assert threads.mean_strain == pytest.approx((-0.12 + 0.02) / 4, rel=1e-15)


def test_pull_and_torque_at_the_base_are_those_of_all_threads():
    # the body has both threads of the family, as a full tube
    two = segments([1, 9, 3, 9], [2, 1, 2, 1], thread=[0, 0, 1, 1], arm=[4, 7, 5, 7])
    assert two.at_base(2.0) == pytest.approx((1 + 3, 1 * 4 + 3 * 5), rel=1e-15)


def test_pull_at_the_base_is_that_of_the_whole_family():
    """A sector has one thread of several equal ones."""
    assert FAMILY.count == 2
    one = segments([3, 9], [2, 1], arm=[4, 7])
    assert one.at_base(2.0) == pytest.approx((2 * 3, 2 * 3 * 4), rel=1e-15)


def test_pull_at_the_base_is_a_mean_over_the_first_part():
    # worked by hand: 2 mm of the first segment and 1 of the second, as in (2 * 1 + 1 * 4)/3
    threads = segments([1, 4, 100], [2, 5, 1], arm=[3, 6, 1])
    expected = 2 * np.array([(2 * 1 + 1 * 4) / 3, (2 * 1 * 3 + 1 * 4 * 6) / 3])
    assert threads.at_base(3.0) == pytest.approx(expected, rel=1e-15)
    # a part longer than the thread is the whole thread
    assert threads.at_base(99.0)[0] == pytest.approx(2 * threads.mean_tension, rel=1e-15)


def test_part_at_the_base_is_taken_along_each_thread():
    """The segments are listed thread after thread, or alternately."""
    in_turns = segments([1, 3, 9, 9], [2, 2, 1, 1], thread=[0, 1, 0, 1])
    assert in_turns.at_base(2.0) == pytest.approx((4, 4), rel=1e-15)


def test_torque_of_a_left_handed_family_is_negative():
    assert segments([2], [5], arm=[-3.0]).at_base(1.0) == (4.0, -12.0)


@pytest.fixture
def case(make_case):
    return make_case()


def tube_values(case, families, **changes):
    seen = {
        "twist": -0.5,
        "displacement": -6.0,
        "length": case.tube.length,
        "radius": case.tube.outer_radius,
        "growth": 1.1,
        "greatest_growth": 2.0,
        "bore_stretch": 1.3,
        "wall_stretch": 1.4,
        "wall_invariant": 3.9,
        "locking": case.rubber.constitutive_law.locking,
        "threads": [one.values(case.tube) for one in families],
    }
    return TubeValues(**(seen | changes))


THREADS = [segments([1, 4], [3, 1], strain=[0.004, 0.02], arm=[2.0, 2.0])]


def test_columns_follow_from_the_values(case):
    row = measures(tube_values(case, THREADS))
    assert row["twist_deg"] == pytest.approx(-0.5 * 180 / math.pi, rel=1e-15)  # round-off
    assert row["displacement_mm"] == -6.0
    assert row["stretch"] == pytest.approx(54 / 60, rel=1e-15)
    assert row["bore_stretch"] == 1.3
    assert row["wall_stretch_max"] == 1.4
    assert row["tension_N.A"] == 7 / 4
    assert row["thread_strain.A"] == pytest.approx(0.008, rel=1e-15)
    assert row["taut_fraction.A"] == 1.0
    assert row["spool_pull_N.A"] == 2.0  # the wall is 1.5 mm: both threads' first segments
    assert row["ring_torque_Nmm.A"] == 4.0
    # by the right triangle
    assert row["thread_length_mm.A"] == pytest.approx(60 / math.cos(math.radians(20)), rel=1e-15)


def test_utilisation_needs_a_breaking_load_or_a_locking_limit(case):
    row = measures(tube_values(case, THREADS))
    assert not [name for name in row if "utilisation" in name]


def test_utilisation_of_a_thread_is_peak_tension_over_breaking_load(case):
    weak = family(breaking_load="16 N")
    row = measures(tube_values(case, [segments([1, 4, 4], [3, 1, 1], family=weak)]))
    assert row["thread_utilisation.A"] == pytest.approx(4 / 16, rel=1e-15)


def test_utilisation_of_the_rubber_is_relative_to_its_locking_limit(make_case):
    gent = {"law": "Gent", "shear_modulus": "60 kPa", "limit": 9.0}
    row = measures(tube_values(make_case(rubber=gent), THREADS))
    assert row["rubber_utilisation"] == pytest.approx(0.9 / 9.0, rel=1e-14)


def test_slack_makes_a_thread_longer(case):
    slack = family(slack="5 %")
    row = measures(tube_values(case, [segments([0], [1], family=slack)]))
    expected = 1.05 * 60 / math.cos(math.radians(20))
    assert row["thread_length_mm.A"] == pytest.approx(expected, rel=1e-15)


def test_mid_radius_is_taken_at_half_length_and_the_bulge_anywhere(make_case, make_model):
    """Compared with the positions of the nodes; those on the end cut are copies of others."""
    model = make_model(make_case(), "1x1x4")
    x = 1e-2 * np.sin(np.arange(model.rest().size))
    rest = model.body.nodes
    x_now, y_now, _ = (rest + model.shape(x, 0.0).displacement).T
    angle = np.arctan2(rest[:, 1], rest[:, 0]) % (2 * np.pi)
    outer = np.isclose(np.hypot(rest[:, 0], rest[:, 1]), 6.5)
    middle = outer & np.isclose(rest[:, 2], 30) & (angle < 2 * np.pi / model.copies - 1e-6)
    radius = np.hypot(x_now, y_now)
    row = measures(model.tube_values(x))
    assert row["mid_radius_mm"] == pytest.approx(radius[middle].mean(), rel=1e-12)
    assert row["bulge_mm"] == pytest.approx(radius[outer].max() - 6.5, rel=1e-9)
    assert row["bulge_mm"] > row["mid_radius_mm"] - 6.5 + 1e-3


def test_a_tube_that_narrows_has_no_bulge(case):
    row = measures(tube_values(case, THREADS, growth=-0.5, greatest_growth=-0.5))
    assert (row["mid_radius_mm"], row["bulge_mm"]) == (6.0, 0.0)


def test_peak_tension_is_taken_over_one_wall_thickness(case):
    threads = segments([0, 9, 3], [1, 1, 1])
    row = measures(tube_values(case, [threads]))
    assert row["tension_peak_N.A"] == pytest.approx((9 + 3 / 2) / 1.5, rel=1e-15)
    assert case.tube.wall == 1.5


def test_each_family_has_its_columns(case):
    other = segments([1], [1], family=family(name="B"))
    row = measures(tube_values(case, [segments([0], [1]), other]))
    assert (row["tension_N.A"], row["tension_N.B"]) == (0.0, 1.0)
    assert (row["taut_fraction.A"], row["taut_fraction.B"]) == (0.0, 1.0)


@pytest.mark.parametrize("resolution", ["1x1x2", "1x1x3"])
def test_both_models_have_a_point_at_half_length(make_case, make_model, resolution):
    case = make_case()
    for model in (make_model(case, resolution), FastModel(case)):
        row = measures(model.tube_values(model.rest()))
        assert row["mid_radius_mm"] == pytest.approx(6.5, rel=1e-12)  # round-off
        assert row["bulge_mm"] == pytest.approx(0.0, abs=1e-12)
        assert row["bore_stretch"] == pytest.approx(1.0, abs=1e-12)
        assert row["wall_stretch_max"] == pytest.approx(1.0, abs=1e-12)
        assert row["tension_N.A"] == pytest.approx(0.0, abs=1e-12)
        assert row["thread_strain.A"] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("hold", ["bonded", "sliding"])
def test_arm_of_a_thread_at_rest_is_that_of_its_helix(make_case, make_model, hold):
    """B sin(alpha), positive for a right-handed helix."""
    case = make_case(threads__0__hold=hold, threads__1__hold=hold)
    fe, fast = make_model(case, "1x1x4"), FastModel(case)
    at_rest = fe.segments(fe.rest())
    taut = fast.tube_values(np.array([0.0, 0.0, 1e-3])).threads
    for angle, segments, threads in zip((20, -30), at_rest, taut, strict=True):
        arm = 6.5 * math.sin(math.radians(angle))
        # in the mesh the helices are on parabolas, whose radius has a relative error of 1e-4
        assert segments.arm == pytest.approx(arm, rel=5e-4)
        assert threads.torque / threads.pull == pytest.approx(arm, rel=1e-4)


def test_both_models_return_stretch_and_invariant_of_the_wall(make_case, make_model):
    """Uniform extension and inflation of the incompressible tube."""
    case = make_case(threads=[])
    fast, fe = FastModel(case), make_model(case, "2x1x2")
    lam, a = 1.3, 5.5
    x = np.array([a - 5.0, 0.0, 0.3 * 60])
    seen = fast.tube_values(x)
    squared = np.array([(5.0 / (a * lam)) ** 2, (a / 5.0) ** 2, lam**2])
    assert seen.wall_stretch == pytest.approx(1.3, rel=1e-14)
    assert seen.wall_invariant == pytest.approx(squared.sum(), rel=1e-14)
    # in the FE model only the plate is displaced, all other nodes are at rest
    q = np.zeros(fe.motion.size)
    q[-1] = 6.0
    strained = fe.tube_values(np.append(q, np.zeros(len(fe.rest()) - len(q))))
    F = fe.tube.strain._gradient.eval(fe.body.mesh, np.arange(len(fe.body.connectivity)))
    C = F.swapaxes(-1, -2) @ F
    stretch = np.sqrt(np.linalg.eigvalsh(C).max())
    bar = np.trace(C, axis1=-2, axis2=-1) * np.linalg.det(C) ** (-1 / 3)
    assert strained.wall_stretch == pytest.approx(stretch, rel=1e-12)
    assert strained.wall_invariant == pytest.approx(bar.max(), rel=1e-12)
    assert stretch > 1.1


def test_both_models_have_the_same_columns(make_case, make_model):
    case = make_case()
    rows = [measures(m.tube_values(m.rest())) for m in (make_model(case, "1x1x2"), FastModel(case))]
    assert list(rows[0]) == list(rows[1])
