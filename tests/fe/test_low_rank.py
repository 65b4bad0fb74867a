"""Low-rank terms added to a factorised matrix, compared with the dense sum."""

import numpy as np
import pytest

from fem.fast.model import DenseTangent
from fem.fe.system.low_rank import LowRankUpdate

SIZE = 9


def parts(seed, terms, indefinite=True):
    """Return a symmetric, well-conditioned K, and U and D."""
    random = np.random.default_rng(seed)
    axes, _ = np.linalg.qr(random.normal(size=(SIZE, SIZE)))
    values = random.uniform(0.5, 3.0, SIZE)
    if indefinite:
        values *= np.where(random.uniform(size=SIZE) < 0.4, -1, 1)
    columns = random.normal(size=(SIZE, terms))
    return axes @ np.diag(values) @ axes.T, columns, 10.0 ** random.uniform(-2, 4, terms)


def update(matrix, columns, weights):
    return LowRankUpdate(DenseTangent((matrix + matrix.T) / 2), columns, weights)


@pytest.mark.parametrize("terms", [1, 2, 5, 12])
@pytest.mark.parametrize("seed", range(5))
def test_solution_agrees_with_the_dense_sum(seed, terms):
    matrix, columns, weights = parts(seed, terms)
    total = matrix + columns @ np.diag(weights) @ columns.T
    right = np.random.default_rng(seed).normal(size=SIZE)
    found = update(matrix, columns, weights).solve(right)
    # weights up to 1e4 and a matrix of order 1: six of sixteen digits may be lost
    assert np.abs(total @ found - right).max() < 1e-9
    assert np.abs(found - np.linalg.solve(total, right)).max() < 1e-9 * max(1, np.abs(found).max())


@pytest.mark.parametrize("terms", [1, 2, 5, 12])
def test_inertia_agrees_with_the_dense_sum(terms):
    counts = []
    for seed in range(30):
        matrix, columns, weights = parts(seed, terms)
        values = np.linalg.eigvalsh(matrix + columns @ np.diag(weights) @ columns.T)
        assert np.abs(values).min() > 1e-6  # the signs are certain
        expected = int((values < 0).sum())
        assert update(matrix, columns, weights).n_negative_eigenvalues == expected
        counts.append((int((np.linalg.eigvalsh(matrix) < 0).sum()), expected))
    assert any(before != after for before, after in counts)  # terms make some positive
    assert any(after > 0 for _, after in counts) or terms == 12  # but not all


def test_stiff_terms_are_constraints():
    """For large D the solution does not move along U."""
    matrix, columns, _ = parts(0, 2, indefinite=False)
    found = update(matrix, columns, np.full(2, 1e12)).solve(np.ones(SIZE))
    assert np.abs(columns.T @ found).max() < 1e-10
    assert np.abs(found).max() > 1e-2


def test_columns_of_nan_are_an_arithmetic_error():
    matrix, columns, weights = parts(0, 2)
    columns[3, 1] = np.nan
    with pytest.raises(ArithmeticError):
        update(matrix, columns, weights)


def test_singular_sum_is_an_arithmetic_error():
    """An eigenvalue of -1 and a term of weight 1 add up to zero."""
    matrix = np.diag([-1.0, 2.0, 3.0])
    with pytest.raises(ArithmeticError):
        update(matrix, np.eye(3)[:, :1], np.ones(1)).solve(np.ones(3))
