"""The cubic with given values and slopes at both ends (Hermite), for NumPy's polynomial functions.

SciPy has a spline of them, but a third of a second to import weighs much in a command of some
seconds.
"""

from __future__ import annotations

import numpy as np

from fem.core.arrays import Array


def hermite(values: Array, slopes: Array) -> Array:
    """Return the coefficients of c(t), t from 0 to 1, lowest power first.

    Parameters
    ----------
    values, slopes
        c(0) and c(1), c'(0) and c'(1), shape (2, ...).

    Returns
    -------
    Array
        Shape (4, ...), for `numpy.polynomial.polynomial.polyval` and `polyder`.
    """
    (start, end), (leaving, arriving) = values, slopes
    gap = end - start
    return np.array(
        [start, leaving, 3 * gap - 2 * leaving - arriving, leaving + arriving - 2 * gap]
    )
