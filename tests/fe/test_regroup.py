"""Regrouped thread counts change by a tenth at most, and their divisor grows."""

import math

import pytest

from fem.fe.mesh.regroup import MAX_CHANGE, regroup


@pytest.mark.parametrize(
    ("counts", "expected"),
    [
        ((31, 12), [33, 11]),
        ((48, 48), [48, 48]),  # no gain
        ((3, 4), [3, 4]),  # one more thread is a change of a third
        ((1,), [1]),
    ],
)
def test_regrouped_counts(counts, expected):
    assert regroup(counts) == expected


@pytest.mark.parametrize("counts", [(31, 12), (47, 48), (23, 61), (29, 31, 37)])
def test_counts_change_by_a_tenth_at_most_and_halve_the_sector(counts):
    near = regroup(counts)
    assert all(abs(n - count) <= MAX_CHANGE * count for n, count in zip(near, counts, strict=True))
    assert math.gcd(*near) >= 2 * math.gcd(*counts)


def test_tube_without_threads():
    assert regroup([]) == []
