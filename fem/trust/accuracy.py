"""Figures of how well a corrected fast model does on points that it was not made from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from fem.continuation.newton import TOLERANCE
from fem.quantities.column import BAND
from fem.trust.pairs import FAST, FE

if TYPE_CHECKING:
    import pandas

ROUND_OFF = 10 * TOLERANCE
"""A share of a quantity, or of one in its unit if it is less: Newton's method ends within a tenth
of it, so a quantity that is nil by symmetry comes out as some 1e-8."""


def errors(points: pandas.DataFrame, column: str) -> dict[str, float]:
    """Return the errors against the FE model before and after the correction.

    Parameters
    ----------
    points
        Columns ``<column>.fe``, ``.fast``, ``.corrected``, ``.std``.
    column
        The quantity.

    Returns
    -------
    ``rms_before``, ``rms_after`` and ``worst_before``, ``worst_after`` in the unit of the
    quantity, 0 where it is below round-off; ``in_band``, the share of the points within the
    predicted 95 % band. Of points that the fit left out (:func:`fem.trust.fit.find`) each band is
    scaled by other curves than its own; where curves are many and alike that is near 0.95 as it
    should be, and lower where few of them tell how far the others are off.
    """
    from sklearn.metrics import max_error, root_mean_squared_error

    fe, fast = points[column + FE], points[column + FAST]
    corrected = points[f"{column}.corrected"]
    least = round_off(fe)
    held = (fe - corrected).abs() <= BAND * points[f"{column}.std"] + least
    found = {
        "rms_before": float(root_mean_squared_error(fe, fast)),
        "rms_after": float(root_mean_squared_error(fe, corrected)),
        "worst_before": float(max_error(fe, fast)),
        "worst_after": float(max_error(fe, corrected)),
    }
    shown = {name: error if error > least else 0.0 for name, error in found.items()}
    return shown | {"in_band": float(held.mean())}


def round_off(values: Any) -> float:
    """Return the error below which two models say the same of a quantity.

    Parameters
    ----------
    values
        The quantity as the FE model finds it, shape (points,), NaN where it finds none.
    """
    greatest = np.nanmax(abs(np.asarray(values, float)), initial=0.0)
    return ROUND_OFF * (1 + float(greatest))
