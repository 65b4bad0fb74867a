"""The covariance with a symmetry, compared with scikit-learn's and with a fit to all images."""

import numpy as np
import pytest
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import Matern

from fem.trust.kernel import InvariantKernel, Symmetry

IDENTITY = Symmetry((0, 1, 2), (1, 1, 1))
SWAP = Symmetry((1, 0, 2), (1, 1, 1))


def group(character):
    """Return the group of two angles and an even number: exchange, mirror image, both."""
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
    found = InvariantKernel(1.7, np.array([0.8, 1.3, 0.5]), (0, 1, 2), (IDENTITY,))
    reference = Matern(np.array([0.8, 1.3, 0.5]), nu=1.5)
    amplitude = np.outer(points[:, -1], points[:, -1])
    np.testing.assert_allclose(
        found(points), 1.7 * amplitude * reference(points[:, :-1]), rtol=1e-13
    )


@pytest.mark.parametrize("character", [1, -1])
def test_it_has_every_symmetry_of_the_group(points, character):
    found = kernel(character)
    for element in group(character):
        image = images(points, element)
        np.testing.assert_allclose(
            found(points, image), element.character * found(points), atol=1e-13
        )
    np.testing.assert_allclose(np.diag(found(points)), found.diag(points), rtol=1e-13)
    assert np.linalg.eigvalsh(found(points)).min() > 0


def test_an_odd_quantity_is_zero_at_a_point_that_is_its_own_image():
    opposite = np.array([[0.4, -0.4, 1.0, 1.0]])
    assert kernel(-1).diag(opposite) == pytest.approx(0, abs=1e-15)
    assert kernel(1).diag(opposite) > 0


def test_gradient_agrees_with_finite_differences(points):
    found = kernel()
    value, gradient = found(points, eval_gradient=True)
    np.testing.assert_array_equal(value, found(points))
    for place in range(len(found.theta)):
        step = np.zeros_like(found.theta)
        step[place] = 1e-5
        up, down = (found.clone_with_theta(found.theta + s * step)(points) for s in (1, -1))
        np.testing.assert_allclose(gradient[..., place], (up - down) / 2e-5, atol=1e-9)


@pytest.mark.parametrize("character", [1, -1])
def test_a_fit_agrees_with_that_of_a_plain_process_to_all_images(points, character):
    """Fitting all images is another exact way to include a symmetry."""
    points = np.c_[points[:, :-1], np.ones(len(points))]
    values = np.sin(points[:, 0]) + points[:, 2]
    new = np.c_[np.random.default_rng(6).normal(size=(20, 3)), np.ones(20)]
    found = GaussianProcessRegressor(kernel(character), alpha=1e-12, optimizer=None)
    mean, std = found.fit(points, values).predict(new, return_std=True)
    all_points = np.vstack([images(points, element) for element in group(character)])
    all_values = np.concatenate([element.character * values for element in group(character)])
    plain = GaussianProcessRegressor(
        4 * 1.7 * Matern(np.array([0.8, 0.8, 1.3]), nu=1.5), alpha=1e-12, optimizer=None
    )
    expected = plain.fit(all_points[:, :-1], all_values).predict(new[:, :-1])
    np.testing.assert_allclose(mean, expected, atol=1e-8)
    assert (std >= 0).all()
