"""Strain measures of the uniform tube in closed form, compared with those of the tensor F'F."""

import numpy as np
import pytest

from fem.fast.kinematics import Components
from fem.quantities.strain import isochoric_first_invariant, largest_principal_stretch

ROUND_OFF = 1e-13


@pytest.fixture
def tubes():
    """Return tubes whose largest stretch is across the wall or in the surface, and their F'F."""
    hoop, axial, shear = np.random.default_rng(5).uniform([0.4, 0.4, -2], [3, 2, 2], (200, 3)).T
    radial, zero = 1 / (hoop * axial), np.zeros(200)
    F = np.array([[radial, zero, zero], [zero, hoop, shear], [zero, zero, axial]]).transpose(
        2, 0, 1
    )
    assert 0 < (radial > np.linalg.svd(F[:, 1:, 1:], compute_uv=False)[:, 0]).sum() < 200
    return Components(radial, hoop, axial, shear), F.swapaxes(-1, -2) @ F


def test_largest_stretch(tubes):
    components, C = tubes
    assert components.largest_stretch == pytest.approx(largest_principal_stretch(C), rel=ROUND_OFF)


def test_first_invariant(tubes):
    components, C = tubes
    assert components.first_invariant == pytest.approx(isochoric_first_invariant(C), rel=1e-12)
