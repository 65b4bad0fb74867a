"""Measures of the strain of the wall."""

from __future__ import annotations

import numpy as np

from fem.core.arrays import Array


def largest_principal_stretch(C: Array) -> Array:
    """Return the square root of the largest eigenvalue of C = F'F.

    Parameters
    ----------
    C
        Right Cauchy-Green tensors, shape (..., 3, 3).

    Returns
    -------
    Array
        Shape (...).
    """
    return np.asarray(np.sqrt(np.linalg.eigvalsh(C)[..., -1]))


def isochoric_first_invariant(C: Array) -> Array:
    """Return tr(C) / det(C)^(1/3) of tensors, shape (..., 3, 3)."""
    return np.asarray(np.trace(C, axis1=-2, axis2=-1) / np.cbrt(np.linalg.det(C)))
