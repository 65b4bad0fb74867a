"""The equilibrium path: Newton's method with a line search, a predictor and adaptive steps.

A model is at rest at x = 0 and in equilibrium where r(x, P) = d(energy - P volume)/dx = 0. Both
models, finite-element and fast, show the same face (:class:`Model`), so this is the one way
through for either.

Corrector. With K = dr/dx, a Newton step is d = -K^-1 r. Along it the work rate r(x + s d) . d
vanishes at the critical point of the potential on that line; a secant search looks for a point
where it is at most half of that at x. Being a condition on the potential and not on |r|, it holds
for the saddle of displacement and pressure too. Forming and factorising K costs some 30 residuals,
so K is kept while it serves well.

Predictor. At a state on the path dx/dP = K^-1 dV/dx. The cubic through the last two states with
their slopes foretells the next one. The factors that give the slope also tell, by their inertia,
whether the state is stable.

Step. The next demanded pressure is tried at once; what does not converge is tried with a smaller
step, and steps grow again after an easy one.

Source: critical-point line search: P. R. Brune et al., SIAM Review 57(4), 535 (2015), doi
10.1137/130936725; the rest is textbook continuation (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.polynomial.polynomial import polyval

from fem.arrays import Array
from fem.cubic import hermite

TOLERANCE = 1e-8
"""Largest `Model.error` that counts as equilibrium."""

MOST_ITERATIONS = 20
"""A step that needs more iterations is cut."""

REUSE = 0.05
"""A step that leaves at most this share of the error is followed by one with the same factors.

Chosen by trial on the ready case and the hard starts of `validation/`: 0.05 to 0.2 serve about
equally, 0.3 makes some paths slower.
"""

CUT, GROWTH, EASY = 0.25, 2.0, 8
"""A failed step is cut to a quarter; one of at most 8 iterations doubles the next."""

SMALLEST_STEP = 1e-3
"""The path ends where a step this share of the demanded one does not converge."""


class Tangent(Protocol):
    """The factorised second derivative of a model's potential at one state."""

    @property
    def negative(self) -> int:
        """Number of negative eigenvalues; 0 where the equilibrium is stable."""

    def solve(self, right: Array) -> Array:
        """Return the change of x that changes the residual by `right`."""


class Model(Protocol):
    """What the path needs to know of a model; x is its state, `load` the pressure in MPa."""

    def rest(self) -> Array:
        """Return the state without load."""

    def residual(self, x: Array, load: float) -> Array:
        """Return the derivative of energy - load * volume by x."""

    def load_direction(self, x: Array) -> Array:
        """Return the derivative of the volume by x."""

    def tangent(self, x: Array, load: float) -> Tangent:
        """Return the second derivative; raise ArithmeticError where it cannot be factorised."""

    def error(self, residual: Array) -> float:
        """Return the size of a residual, without dimension."""


class DivergedError(ArithmeticError):
    """Newton's method does not converge."""

    def __init__(self, iterations: int) -> None:
        super().__init__(f"no convergence in {iterations} iterations")
        self.iterations = iterations


@dataclass(frozen=True)
class State:
    """A point of the path.

    Attributes
    ----------
    load
        Pressure (MPa).
    x
        State of the model.
    slope
        dx/dP there.
    stable
        Whether the equilibrium is a minimum of the potential.
    iterations
        Newton iterations since the state that was asked for before, vain ones included.
    """

    load: float
    x: Array
    slope: Array
    stable: bool
    iterations: int = 0


class NoEquilibriumError(ArithmeticError):
    """The path cannot be followed any further.

    Attributes
    ----------
    state
        The last good state.
    """

    def __init__(self, state: State) -> None:
        super().__init__(f"no equilibrium found beyond a pressure of {state.load} MPa")
        self.state = state


def follow(model: Model, loads: Sequence[float]) -> Iterator[State]:
    """Walk from rest through the demanded loads; yield the state at rest and at each of them.

    Parameters
    ----------
    model
        What is to be in equilibrium.
    loads
        Pressures in the order in which they are to be reached (MPa).

    Raises
    ------
    NoEquilibriumError
        Where the path ends before.
    ArithmeticError
        If the state at rest has no tangent.
    """
    state, before = _on_path(model, model.rest(), 0.0), None
    yield state
    for target in loads:
        spent = 0
        step = target - state.load
        smallest = SMALLEST_STEP * abs(step)
        while state.load != target:
            load = _toward(target, state.load, step)
            try:
                x, iterations = correct(model, _predict(state, before, load), load)
                spent += iterations
                state, before = _on_path(model, x, load), state
            except ArithmeticError as failure:  # diverged, or a matrix without factors
                spent += failure.iterations if isinstance(failure, DivergedError) else 0
                step = CUT * (load - state.load)
                if abs(step) < smallest:
                    raise NoEquilibriumError(replace(state, iterations=spent)) from failure
            else:
                step *= GROWTH if iterations <= EASY else 1.0
        yield replace(state, iterations=spent)


@np.errstate(all="ignore")  # a trial state may be impossible: that shows as nan and is handled
def correct(model: Model, x: Array, load: float) -> tuple[Array, int]:
    """Return the equilibrium at `load` that Newton's method finds from `x`, and its iterations.

    Raises
    ------
    DivergedError
        If it finds none.
    """
    residual = model.residual(x, load)
    error, before = model.error(residual), np.inf
    tangent = None
    for iteration in range(MOST_ITERATIONS + 1):
        if error <= TOLERANCE:
            return x, iteration
        if iteration == MOST_ITERATIONS or not np.isfinite(error):
            break
        if tangent is None or error > REUSE * before:
            try:
                tangent = model.tangent(x, load)
            except ArithmeticError as failure:
                raise DivergedError(iteration) from failure
        x, residual = _search(model, x, load, residual, tangent.solve(-residual))
        error, before = model.error(residual), error
    raise DivergedError(iteration)


def _search(
    model: Model, x: Array, load: float, residual: Array, direction: Array, most: int = 6
) -> tuple[Array, Array]:
    """Return x + s d where the work rate is at most half of that at x, and its residual.

    Where `most` trials do not find such a point, the last of them is returned.
    """
    start = residual @ direction
    s_before, rate_before, s = 0.0, start, 1.0
    for _ in range(most):
        trial = x + s * direction
        residual = model.residual(trial, load)
        rate = residual @ direction
        if abs(rate) <= 0.5 * abs(start):
            break
        with np.errstate(invalid="ignore", divide="ignore"):
            secant = s - rate * (s - s_before) / (rate - rate_before)
        s_before, rate_before = s, rate
        s = float(np.clip(secant, 0.1 * s, 4.0 * s)) if np.isfinite(secant) else 0.25 * s
    return trial, residual


@np.errstate(all="ignore")  # what is not finite is refused below
def _on_path(model: Model, x: Array, load: float) -> State:
    tangent = model.tangent(x, load)
    slope = tangent.solve(model.load_direction(x))
    if not np.isfinite(slope).all():
        raise ArithmeticError("the path has no direction")
    return State(load, x, slope, stable=tangent.negative == 0)


def _toward(target: float, load: float, step: float) -> float:
    """Return `load` + `step`, or `target` itself where that is as near."""
    return target if abs(step) >= (1 - 1e-9) * abs(target - load) else load + step


def _predict(state: State, before: State | None, load: float) -> Array:
    if before is None or before.load == 0.0:  # at rest the slope is that of threads just taut
        return state.x + (load - state.load) * state.slope
    back = state.load - before.load
    cubic = hermite(np.array([before.x, state.x]), back * np.array([before.slope, state.slope]))
    return np.asarray(polyval((load - before.load) / back, cubic))
