"""Integration through the wall: the rule against closed forms and against far more points."""

import numpy as np
import pytest

from fem.fast.wall_points import LOCKING, count, radii_and_weights

RATIOS = [1.02, 1.1, 1.3, 1.5, 2.0, 3.0, 5.0, 8.0]


@pytest.mark.parametrize("ratio", RATIOS)
def test_area_and_polar_moment_of_the_wall(ratio):
    """Textbook integrals of R dR and R^3 dR."""
    R, weights = radii_and_weights(5.0, 5.0 * ratio, count(5.0, 5.0 * ratio, locks=False))
    outer = 5.0 * ratio
    assert weights.sum() == pytest.approx((outer**2 - 25) / 2, rel=1e-9)
    assert (weights * R**2).sum() == pytest.approx((outer**4 - 625) / 4, rel=1e-7)


def test_many_tubes_are_as_each_by_itself():
    outer = np.array([6.0, 7.0, 12.0])
    R, weights = radii_and_weights(np.full(3, 5.0), outer, 7)
    for k in range(3):
        alone = radii_and_weights(5.0, outer[k], 7)
        assert np.array_equal(alone, (R[:, k], weights[:, k]))


def test_rubber_that_locks_takes_more_points():
    assert count(5.0, 6.5, locks=True) == LOCKING > count(5.0, 6.5, locks=False)
    assert count(1.0, 20.0, locks=True) == count(1.0, 20.0, locks=False) > LOCKING
