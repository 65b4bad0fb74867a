"""A state of the equilibrium path, and what predicts the next one."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.polynomial.polynomial import polyder, polyroots, polyval

from fem.continuation.loading import PRESSURE
from fem.core.arrays import Array


@dataclass(frozen=True)
class State:
    """A point of the path.

    Attributes
    ----------
    x, loads, conjugates
        State of the model; pressure, force, torque (MPa, N, N mm); their conjugate displacements
        volume, end displacement, twist (mm3, mm, rad).
    parameter
        Value of the driven device.
    slope, load_slope, conjugate_slope
        Derivatives of the first three by the parameter.
    stable
        Whether the equilibrium is a minimum of the potential, under the devices asked for.
    energy
        Stored energy (N mm).
    work, absolute_work
        Work of the loads since the first state, and its sum without regard to signs (N mm).
    iterations
        Newton iterations since the state that was yielded before, vain ones included.
    limit
        Whether the load of the driven pair, or else the pressure, is at an extreme here.
    requested
        Whether it was asked for.
    rest
        Whether it is the state of rest.
    """

    x: Array
    loads: Array
    conjugates: Array
    parameter: float
    slope: Array
    load_slope: Array
    conjugate_slope: Array
    stable: bool
    energy: float
    work: float = 0.0
    absolute_work: float = 0.0
    iterations: int = 0
    limit: bool = False
    requested: bool = False
    rest: bool = False

    @property
    def pressure(self) -> float:
        """Pressure in the bore (MPa)."""
        return float(self.loads[PRESSURE])

    def stiffness(self, pair: int) -> float:
        """Return the derivative of a pair's load by its coordinate along the path."""
        return float(self.load_slope[pair] / self.conjugate_slope[pair])

    def with_load_parameter(self, pair: int) -> State:
        """Return the same state with the load of `pair` as the path's parameter."""
        return self._change_path_parameter(float(self.loads[pair]), float(self.load_slope[pair]))

    def with_conjugate_parameter(self, pair: int) -> State:
        """Return the same state with the coordinate of `pair` as the path's parameter."""
        return self._change_path_parameter(
            float(self.conjugates[pair]), float(self.conjugate_slope[pair])
        )

    def _change_path_parameter(self, parameter: float, pace: float) -> State:
        return replace(
            self,
            parameter=parameter,
            slope=self.slope / pace,
            load_slope=self.load_slope / pace,
            conjugate_slope=self.conjugate_slope / pace,
        )


def hermite(values: Array, slopes: Array) -> Array:
    """Return the coefficients of c(t), t from 0 to 1, lowest power first (Hermite).

    SciPy has a spline of them, but a third of a second to import weighs much in a command of some
    seconds.

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


def parameter_at_load(start: State, end: State, pair: int, load: float) -> float:
    """Return the parameter between two states where the load of `pair` is `load`."""
    curve = _load_curve(start, end, pair)
    curve[0] -= load
    return start.parameter + (end.parameter - start.parameter) * _middle_root(curve)


def parameter_at_load_extreme(start: State, end: State, pair: int) -> float:
    """Return the parameter between two states where the load of `pair` has its extreme."""
    slope = np.asarray(polyder(_load_curve(start, end, pair)), dtype=np.float64)
    return start.parameter + (end.parameter - start.parameter) * _middle_root(slope)


def _load_curve(start: State, end: State, pair: int) -> Array:
    """Return the coefficients of the cubic of a load from `start` (0) to `end` (1)."""
    loads = np.array([start.loads[pair], end.loads[pair]])
    slopes = np.array([start.load_slope[pair], end.load_slope[pair]])
    return hermite(loads, (end.parameter - start.parameter) * slopes)


def _middle_root(coefficients: Array) -> float:
    """Return the real root of a polynomial that is nearest to the middle of 0 to 1, clipped."""
    roots = polyroots(coefficients)
    real = roots[np.abs(roots.imag) < 1e-9].real
    return float(np.clip(real[np.argmin(np.abs(real - 0.5))], 0.0, 1.0)) if len(real) else 0.5


def predict(state: State, before: State | None, aim: float) -> tuple[Array, Array]:
    """Return x and loads foretold at the parameter `aim`."""
    way = aim - state.parameter
    if state.rest:  # from here, where threads tighten at once, no slope foretells
        return state.x, state.loads
    if before is None or before.rest:
        return state.x + way * state.slope, state.loads + way * state.load_slope
    back = state.parameter - before.parameter
    t = (aim - before.parameter) / back
    x = hermite(np.array([before.x, state.x]), back * np.array([before.slope, state.slope]))
    loads = hermite(
        np.array([before.loads, state.loads]),
        back * np.array([before.load_slope, state.load_slope]),
    )
    return np.asarray(polyval(t, x)), np.asarray(polyval(t, loads))
