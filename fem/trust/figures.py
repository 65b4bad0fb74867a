"""Figures of how well a corrected fast model does on points that it was not made from."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fem.trust.fit import BAND
from fem.trust.pairs import FAST, FE

if TYPE_CHECKING:
    import pandas


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
    quantity; ``in_band``, the share of the points within the predicted 95 % band. Of points that the fit
    left out (:func:`fem.trust.fit.find`) each band is scaled by other curves than its own; where
    curves are many and alike that is near 0.95 as it should be, and lower where few of them tell
    how far the others are off.
    """
    from sklearn.metrics import max_error, root_mean_squared_error

    fe, fast = points[column + FE], points[column + FAST]
    corrected = points[f"{column}.corrected"]
    held = (fe - corrected).abs() <= BAND * points[f"{column}.std"]
    return {
        "rms_before": float(root_mean_squared_error(fe, fast)),
        "rms_after": float(root_mean_squared_error(fe, corrected)),
        "worst_before": float(max_error(fe, fast)),
        "worst_after": float(max_error(fe, corrected)),
        "in_band": float(held.mean()),
    }
