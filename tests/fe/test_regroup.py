"""Threads spread over other counts: a tenth at most, and the divisor grows."""

import math

import pytest

from fem.fe.mesh.regroup import MAX_CHANGE, regroup


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
    assert all(abs(n - count) <= MAX_CHANGE * count for n, count in zip(near, counts, strict=True))
    assert math.gcd(*near) >= 2 * math.gcd(*counts)


def test_tube_without_threads_is_left_alone():
    assert regroup([]) == []
