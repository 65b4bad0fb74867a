"""A state of the equilibrium path, and the predictor of the next one."""

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
        Derivatives of x, loads and conjugates by the parameter.
    stable
        Whether the equilibrium is a minimum of the potential, with the devices of the loading.
    energy
        Stored energy (N mm).
    work, absolute_work
        Work of the loads since the first state, and the sum of its absolute parts (N mm).
    iterations
        Newton iterations since the state yielded before, including unsuccessful ones.
    limit
        Whether it is a limit point of the load of the driven pair, or else of the pressure.
    requested
        Whether it is at a requested value.
    rest
        Whether it is the unloaded state.
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
        """Return the derivative dl/dg of a pair along the path."""
        return float(self.load_slope[pair] / self.conjugate_slope[pair])

    def with_load_parameter(self, pair: int) -> State:
        """Return the same state with the load of `pair` as the path parameter."""
        return self._change_path_parameter(float(self.loads[pair]), float(self.load_slope[pair]))

    def with_conjugate_parameter(self, pair: int) -> State:
        """Return the same state with the conjugate displacement of `pair` as the path parameter."""
        return self._change_path_parameter(
            float(self.conjugates[pair]), float(self.conjugate_slope[pair])
        )

    def _change_path_parameter(self, parameter: float, rate: float) -> State:
        return replace(
            self,
            parameter=parameter,
            slope=self.slope / rate,
            load_slope=self.load_slope / rate,
            conjugate_slope=self.conjugate_slope / rate,
        )


def hermite(values: Array, slopes: Array) -> Array:
    """Return the coefficients of the Hermite cubic c(t), t from 0 to 1, lowest power first.

    SciPy's spline is not used: its import takes a third of a second, much for a short command.

    Parameters
    ----------
    values, slopes
        c(0) and c(1), c'(0) and c'(1), shape (2, ...).

    Returns
    -------
    Array
        Shape (4, ...), for `numpy.polynomial.polynomial.polyval` and `polyder`.
    """
    (start, end), (first, last) = values, slopes
    change = end - start
    return np.array([start, first, 3 * change - 2 * first - last, first + last - 2 * change])


def parameter_at_load(start: State, end: State, pair: int, load: float) -> float:
    """Return the parameter between two states where the load of `pair` is `load`."""
    curve = _load_curve(start, end, pair)
    curve[0] -= load
    return start.parameter + (end.parameter - start.parameter) * _middle_root(curve)


def parameter_at_load_extreme(start: State, end: State, pair: int) -> float:
    """Return the parameter between two states where the load of `pair` has an extreme."""
    slope = np.asarray(polyder(_load_curve(start, end, pair)), dtype=np.float64)
    return start.parameter + (end.parameter - start.parameter) * _middle_root(slope)


def _load_curve(start: State, end: State, pair: int) -> Array:
    """Return the coefficients of the Hermite cubic of a load from `start` (0) to `end` (1)."""
    loads = np.array([start.loads[pair], end.loads[pair]])
    slopes = np.array([start.load_slope[pair], end.load_slope[pair]])
    return hermite(loads, (end.parameter - start.parameter) * slopes)


def _middle_root(coefficients: Array) -> float:
    """Return the real root of a polynomial nearest to 0.5, clipped to 0 to 1; 0.5 without one."""
    roots = polyroots(coefficients)
    real = roots[np.abs(roots.imag) < 1e-9].real
    return float(np.clip(real[np.argmin(np.abs(real - 0.5))], 0.0, 1.0)) if len(real) else 0.5


def predict(state: State, before: State | None, parameter: float) -> tuple[Array, Array]:
    """Return x and loads predicted at `parameter`, by the cubic through the two states."""
    step = parameter - state.parameter
    if state.rest:  # threads tighten at once: the slope at rest predicts nothing
        return state.x, state.loads
    if before is None or before.rest:
        return state.x + step * state.slope, state.loads + step * state.load_slope
    span = state.parameter - before.parameter
    t = (parameter - before.parameter) / span
    x = hermite(np.array([before.x, state.x]), span * np.array([before.slope, state.slope]))
    loads = hermite(
        np.array([before.loads, state.loads]),
        span * np.array([before.load_slope, state.load_slope]),
    )
    return np.asarray(polyval(t, x)), np.asarray(polyval(t, loads))
