"""The curve of one model for one setting, evaluated at the pressure of a measurement.

At a step the value is that of the step. Between two steps it is interpolated by monotone cubics
through all requested steps, including rest (scipy's PchipInterpolator, after F. N. Fritsch and
J. Butland, SIAM J. Sci. Stat. Comput. 5, 300, 1984; as scipy cites it). It is never extrapolated.

Only the part with increasing pressure is used: with a volume or a mass of air as drive, a pressure
may occur again beyond its peak, and it is constant while the free end is moved.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from fem.core.arrays import Array
from fem.measurements.columns import PRESSURE
from fem.results.termination import REACHED, Termination

if TYPE_CHECKING:
    import pandas

AT_STEP = 1e-6
"""Difference of pressure (kPa) below which a measurement is at a step."""

type Place = Literal["step", "between", "beyond"]
"""At a step, between two steps, or beyond the ends of the curve, where there is no value."""


@dataclass(frozen=True, eq=False)
class Curve:
    """One model along the path of one case.

    Attributes
    ----------
    steps
        The requested rows of its step table with increasing pressure; empty if there is no
        solution even at rest.
    termination
        Why it ends.
    solved
        Whether it was solved for this comparison, because the study does not have it.
    """

    steps: pandas.DataFrame
    termination: Termination = REACHED
    solved: bool = False

    @classmethod
    def of(
        cls, rows: pandas.DataFrame, termination: Termination = REACHED, solved: bool = False
    ) -> Curve:
        """Return the curve of a step table, from rest until the pressure no longer increases."""
        if rows.empty:
            return cls(rows.reindex(columns=[PRESSURE.column]), termination, solved)
        steps = rows[rows.requested.astype(bool)].sort_values("step")
        risen = steps[PRESSURE.column].diff().gt(0).to_numpy()
        end = 1 + int(np.argmin(risen[1:])) if not risen[1:].all() else len(steps)
        return cls(steps.iloc[:end].reset_index(drop=True), termination, solved)

    @property
    def pressures(self) -> Array:
        """Pressures of the steps (kPa), increasing, shape (steps,)."""
        return self.steps[PRESSURE.column].to_numpy(dtype=float)

    def place(self, pressure: float) -> Place:
        """Return where a pressure (kPa) lies on the curve."""
        known = self.pressures
        if len(known) and np.abs(known - pressure).min() < AT_STEP:
            return "step"
        inside = len(known) > 1 and known[0] < pressure < known[-1]
        return "between" if inside else "beyond"

    def at(self, pressures: Array, column: str) -> Array:
        """Return the values of a column at pressures (kPa); NaN beyond the ends."""
        known = self.pressures
        if column not in self.steps or not len(known):
            return np.full(np.shape(pressures), np.nan)
        nearest = np.abs(known - np.asarray(pressures)[..., None]).argmin(axis=-1)
        at_step = np.abs(known[nearest] - pressures) < AT_STEP
        from scipy.interpolate import PchipInterpolator

        values = self.steps[column].to_numpy(dtype=float)
        if len(known) < 2:
            return np.where(at_step, values[nearest], np.nan)
        interpolant = PchipInterpolator(known, values, extrapolate=False)
        return np.where(at_step, values[nearest], interpolant(pressures))

    def range(self) -> list[float] | None:
        """Return first and last pressure (kPa); None if there is no solution even at rest."""
        return [float(self.pressures[0]), float(self.pressures[-1])] if len(self.steps) else None
