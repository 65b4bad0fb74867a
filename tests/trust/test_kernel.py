"""The covariance that obeys a symmetry: against scikit-learn's own, and against mirrored data."""

import numpy as np
import pytest
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import Matern

from fem.trust.kernel import InvariantKernel, Symmetry

IDENTITY = Symmetry((0, 1, 2), (1, 1, 1))
SWAP = Symmetry((1, 0, 2), (1, 1, 1))


def group(character):
    """Return the group of two angles and an even number: exchange, mirror, both."""
    mirror = Symmetry((0, 1, 2), (-1, -1, 1), character)
    return IDENTITY, SWAP, mirror, Symmetry((1, 0, 2), (-1, -1, 1), character)


def kernel(character=-1):
    return InvariantKernel(1.7, np.array([0.8, 1.3]), (0, 0, 1), group(character))


@pytest.fixture
def points():
    rng = np.random.default_rng(5)
    return np.c_[rng.normal(size=(12, 3)), rng.uniform(0.2, 1, 12)]


def images(points, element):
    return np.c_[element(points[:, :-1]), points[:, -1]]


def test_without_symmetry_it_is_the_matern_covariance_of_scikit_learn(points):
    ours = InvariantKernel(1.7, np.array([0.8, 1.3, 0.5]), (0, 1, 2), (IDENTITY,))
    theirs = Matern(np.array([0.8, 1.3, 0.5]), nu=1.5)
    amplitude = np.outer(points[:, -1], points[:, -1])
    np.testing.assert_allclose(ours(points), 1.7 * amplitude * theirs(points[:, :-1]), rtol=1e-13)


@pytest.mark.parametrize("character", [1, -1])
def test_it_follows_every_element_of_the_group(points, character):
    found = kernel(character)
    for element in group(character):
        image = images(points, element)
        np.testing.assert_allclose(
            found(points, image), element.character * found(points), atol=1e-13
        )
    np.testing.assert_allclose(np.diag(found(points)), found.diag(points), rtol=1e-13)
    assert np.linalg.eigvalsh(found(points)).min() > 0


def test_an_odd_quantity_is_nil_where_a_point_is_its_own_image():
    opposite = np.array([[0.4, -0.4, 1.0, 1.0]])
    assert kernel(-1).diag(opposite) == pytest.approx(0, abs=1e-15)
    assert kernel(1).diag(opposite) > 0


def test_slopes_by_finite_differences(points):
    found = kernel()
    value, slopes = found(points, eval_gradient=True)
    np.testing.assert_array_equal(value, found(points))
    for place in range(len(found.theta)):
        step = np.zeros_like(found.theta)
        step[place] = 1e-5
        up, down = (found.clone_with_theta(found.theta + s * step)(points) for s in (1, -1))
        np.testing.assert_allclose(slopes[..., place], (up - down) / 2e-5, atol=1e-9)


@pytest.mark.parametrize("character", [1, -1])
def test_a_fit_is_that_of_a_plain_process_given_all_images(points, character):
    """Conditioning on all images is the other way to obey a symmetry; both are exact."""
    points = np.c_[points[:, :-1], np.ones(len(points))]
    values = np.sin(points[:, 0]) + points[:, 2]
    asked = np.c_[np.random.default_rng(6).normal(size=(20, 3)), np.ones(20)]
    ours = GaussianProcessRegressor(kernel(character), alpha=1e-12, optimizer=None)
    mean, std = ours.fit(points, values).predict(asked, return_std=True)
    all_points = np.vstack([images(points, element) for element in group(character)])
    all_values = np.concatenate([element.character * values for element in group(character)])
    plain = GaussianProcessRegressor(
        4 * 1.7 * Matern(np.array([0.8, 0.8, 1.3]), nu=1.5), alpha=1e-12, optimizer=None
    )
    expected = plain.fit(all_points[:, :-1], all_values).predict(asked[:, :-1])
    np.testing.assert_allclose(mean, expected, atol=1e-8)
    assert (std >= 0).all()
