r"""How far the wall is strained: at the bore or outside, where it is strained most.

With lengths by the outer radius, and p = r/R and q = r kappa, the deformation is the radial stretch
1/(p lambda) and, in the wall's tangent plane, the block [[p, q], [0, lambda]], whose greater
principal stretch is

.. math:: \tfrac12 \left( \sqrt{(p + \lambda)^2 + q^2} + \sqrt{(p - \lambda)^2 + q^2} \right).

Source: singular values of a 2 x 2 matrix, textbook; derived from their sum and difference.
"""

from __future__ import annotations

import numpy as np

from fem.core.arrays import Array
from fem.fast.potential import invariants
from fem.fast.tubes import Tubes


def greatest_stretch(tubes: Tubes, y: Array) -> Array:
    """Return the largest principal stretch in the wall, shape (n,)."""
    lam = 1 + y[1]
    faces = _faces(tubes)
    squared = (faces + y[0]) / lam  # r^2
    p, q = np.sqrt(squared / faces), np.sqrt(squared) * y[2]
    across = (np.hypot(p + lam, q) + np.hypot(p - lam, q)) / 2
    return np.asarray(np.maximum(across, 1 / (p * lam)).max(axis=0))


def greatest_invariant(tubes: Tubes, y: Array) -> Array:
    """Return the largest first invariant in the wall, shape (n,)."""
    return np.asarray(invariants(_faces(tubes), y)[0].max(axis=0))


def _faces(tubes: Tubes) -> Array:
    """Return the squares of the radii of bore and outer face, shape (2, n)."""
    return np.array([tubes.bore_square, np.ones(len(tubes))])
