"""Integration through the wall, compared with closed forms and with many more points."""

import numpy as np
import pytest

from fem.fast.wall_points import MIN_POINTS_LOCKING, point_count, radii_and_weights

RATIOS = [1.02, 1.1, 1.3, 1.5, 2.0, 3.0, 5.0, 8.0]


@pytest.mark.parametrize("ratio", RATIOS)
def test_area_and_polar_moment_of_the_wall(ratio):
    """Textbook integrals of R dR and R^3 dR."""
    R, weights = radii_and_weights(5.0, 5.0 * ratio, point_count(5.0, 5.0 * ratio, locks=False))
    outer = 5.0 * ratio
    assert weights.sum() == pytest.approx((outer**2 - 25) / 2, rel=1e-13)
    assert (weights * R**2).sum() == pytest.approx((outer**4 - 625) / 4, rel=1e-13)


@pytest.mark.parametrize(("power", "error"), [(1, 1e-11), (2, 2e-9), (3, 1e-7)])
@pytest.mark.parametrize("bore", [0.7, 1.2, 2.0, 4.0, 8.0])
@pytest.mark.parametrize("ratio", RATIOS)
def test_energy_of_the_wall_agrees_with_sixty_points(ratio, bore, power, error):
    """(I1 - 3)^n of a tube that is inflated, stretched by 1.1 and sheared; radii by the outer."""

    def stored(points):
        R, weights = radii_and_weights(1 / ratio, 1.0, points)
        squares, lam, kappa = R**2, 1.1, 0.5
        sigma = squares + (bore**2 * lam - 1) / ratio**2  # lambda r^2
        i1 = (squares / sigma + sigma / squares + sigma * kappa**2) / lam + lam**2
        return (weights * (i1 - 3) ** power).sum()

    assert stored(point_count(1.0, ratio, locks=False)) == pytest.approx(stored(60), rel=error)


def test_many_tubes_agree_with_single_tubes():
    outer = np.array([6.0, 7.0, 12.0])
    R, weights = radii_and_weights(np.full(3, 5.0), outer, 7)
    for k in range(3):
        alone = radii_and_weights(5.0, outer[k], 7)
        assert np.array_equal(alone, (R[:, k], weights[:, k]))


def test_rubber_that_locks_has_more_points():
    assert (
        point_count(5.0, 6.5, locks=True) == MIN_POINTS_LOCKING > point_count(5.0, 6.5, locks=False)
    )
    assert (
        point_count(1.0, 20.0, locks=True)
        == point_count(1.0, 20.0, locks=False)
        > MIN_POINTS_LOCKING
    )
