"""Measures of strain compared with singular values of F (LAPACK) and closed forms."""

import numpy as np
import pytest

from fem.quantities.strain import isochoric_first_invariant, largest_principal_stretch

F = np.eye(3) + np.random.default_rng(2).uniform(-0.3, 0.3, (4, 5, 3, 3))
C = F.swapaxes(-1, -2) @ F
ROUND_OFF = 1e-13


def test_largest_stretch_is_the_largest_singular_value():
    expected = np.linalg.svd(F, compute_uv=False)[..., 0]
    assert largest_principal_stretch(C) == pytest.approx(expected, rel=ROUND_OFF)


def test_first_invariant_ignores_a_change_of_volume():
    principal = np.linalg.svd(F, compute_uv=False) / np.cbrt(np.linalg.det(F))[..., None]
    expected = (principal**2).sum(axis=-1)
    assert isochoric_first_invariant(1.7 * C) == pytest.approx(expected, rel=ROUND_OFF)
