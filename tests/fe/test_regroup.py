"""Threads spread over other counts: a tenth at most, their stiffness as a whole kept."""

import math

import pytest

from fem.fe.mesh.regroup import MOST_CHANGE, regroup, regrouped


@pytest.mark.parametrize(
    ("counts", "expected"),
    [
        ((31, 12), [33, 11]),
        ((48, 48), [48, 48]),  # nothing to gain
        ((3, 4), [3, 4]),  # one thread more is a third more
        ((1,), [1]),
    ],
)
def test_counts_found(counts, expected):
    assert regroup(counts) == expected


@pytest.mark.parametrize("counts", [(31, 12), (47, 48), (23, 61), (29, 31, 37)])
def test_counts_change_by_a_tenth_at_most_and_halve_the_sector(counts):
    near = regroup(counts)
    assert all(abs(n - count) <= MOST_CHANGE * count for n, count in zip(near, counts, strict=True))
    assert math.gcd(*near) >= 2 * math.gcd(*counts)


def test_stiffness_of_a_family_as_a_whole_is_kept(make_case):
    case = make_case(threads__0__count=31)
    spread = regrouped(case)
    assert [family.count for family in spread.threads] == [33, 11]
    for own, family in zip(case.threads, spread.threads, strict=True):
        whole = own.count * own.stiffness
        assert family.count * family.stiffness == pytest.approx(whole, rel=1e-15)  # round-off
        assert family.angle == own.angle and family.toe == own.toe


def test_tube_without_threads_is_left_alone(make_case):
    case = make_case(threads=[])
    assert regrouped(case) is case
