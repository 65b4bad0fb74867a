"""One step of the path: predictor, Newton's method, stretch of the wall, energy check, stability.

The cubic through the last two states with their slopes predicts the next one. A step is accepted
only if the work of the loads along it, computed from its two ends, equals the change of the stored
energy (:mod:`fem.continuation.energy_check`). If not, the path between was missed, as when Newton's
method jumps over a limit point to another branch.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fem.continuation.energy_check import EnergyBalanceError, with_work
from fem.continuation.loading import Loading
from fem.continuation.newton import BorderedSystem, DivergedError, Model, Trial, solve_equilibrium
from fem.continuation.state import State, predict
from fem.continuation.termination import no_equilibrium
from fem.core.arrays import Array

STEP_REDUCTION = 0.25
"""Factor on a step that failed."""

FEW_ITERATIONS, SOME_ITERATIONS = 6, 12
"""Up to these numbers of iterations the next step is four times, or twice, as long."""

MIN_STEP = 1e-3
"""The path ends where a step of this fraction of the requested one does not converge."""

MAX_TOTAL_ITERATIONS = 1500
"""Largest number of Newton iterations for one requested value."""

MAX_STRETCH = 8.0
"""The path ends where the wall stretch exceeds this value, at which rubber is torn.

The softest silicones break at 7 to 10 (makers' data sheets give an elongation of 700 to 900 %; from
memory).
"""


class BuckledError(ArithmeticError):
    """The tube is unstable at the end of a step."""


class StretchLimitError(ArithmeticError):
    """The wall stretch exceeds `MAX_STRETCH` at the end of a step.

    Attributes
    ----------
    control
        The loading at the end of the step.
    stretch
        Stretch of the wall there.
    """

    def __init__(self, control: Loading, stretch: float) -> None:
        super().__init__("the stretch limit is exceeded")
        self.control, self.stretch = control, stretch


@np.errstate(all="ignore")  # values that are not finite raise an error below
def path_state(model: Model, loading: Loading, control: Loading, trial: Trial) -> State:
    """Return an equilibrium as a state of the path.

    Parameters
    ----------
    model
        The model.
    loading, control
        The loading that determines stability, and the one whose driven value is the path parameter.
    trial
        The equilibrium under `control`.

    Raises
    ------
    ArithmeticError
        If the path has no tangent there.
    """
    system = BorderedSystem(model, control, trial)
    slope, load_slope = system.solve(np.zeros_like(trial.x), np.eye(3)[control.driven])
    if not np.isfinite(slope).all():
        raise ArithmeticError("the path has no tangent")
    return State(
        x=trial.x,
        loads=trial.loads,
        conjugates=trial.conjugates,
        parameter=control.driven_device.value,
        slope=slope,
        load_slope=load_slope,
        conjugate_slope=trial.load_vectors.T @ slope,
        stable=system.n_negative_eigenvalues(loading, trial) == 0,
        energy=model.energy(trial.x),
    )


def step_growth(iterations: int) -> float:
    """Return the factor on the next step after one with this number of iterations."""
    return 4.0 if iterations <= FEW_ITERATIONS else 2.0 if iterations <= SOME_ITERATIONS else 1.0


def step_toward(target: float, value: float, step: float) -> float:
    """Return `value` + `step`, or `target` if the step reaches it."""
    return target if abs(step) >= (1 - 1e-9) * abs(target - value) else value + step


class Stepper:
    """The last two states of a path, and steps to further ones.

    Parameters
    ----------
    model, loading
        The model, and the loading that determines stability.
    start
        First state.
    energy_tolerance
        Largest allowed energy gap, as a fraction of the absolute work.

    Attributes
    ----------
    state, before
        Last state, and the one before it or None.
    target
        Requested value of the driven device.
    origin
        Conjugate displacement of the driven pair at the start.
    jumps_branch
        Whether a trial since the last state released energy, as a jump to another branch does.
    """

    def __init__(
        self, model: Model, loading: Loading, start: State, energy_tolerance: float
    ) -> None:
        self.model, self.loading = model, loading
        self._energy_tolerance = energy_tolerance
        self.state = start
        self.before: State | None = None
        self.target = start.parameter
        self.origin = float(start.conjugates[loading.driven])
        self.jumps_branch = False
        self._iterations = 0

    def accept(self, state: State) -> None:
        """Make `state` the last one."""
        self.before, self.state = self.state, state

    def solve(
        self, control: Loading, parameter: float, guess: tuple[Array, Array] | None = None
    ) -> tuple[State, float]:
        """Return the state at a value of the path parameter, and the factor on the next step.

        Raises
        ------
        ArithmeticError
            If it is not found, beyond the stretch limit, unstable without a limit point of the load
            before it, or its energy gap is too large.
        PathEndError
            If there were too many iterations since the last requested value.
        """
        if self._iterations > MAX_TOTAL_ITERATIONS:
            raise no_equilibrium(self.with_iterations(self.state), not self.state.stable)
        x, loads = guess or predict(self.state, self.before, parameter)
        control = control.at(parameter)
        try:
            trial, iterations = solve_equilibrium(self.model, control, x, loads)
        except DivergedError as failure:
            self._iterations += failure.iterations
            raise
        self._iterations += iterations
        if (stretch := self.model.wall_stretch(trial.x)) > MAX_STRETCH:
            raise StretchLimitError(control, stretch)
        state = self._with_work(path_state(self.model, self.loading, control, trial))
        if self.state.stable and not state.stable and not self._beyond_extreme(state):
            raise BuckledError("the tube buckles")
        return state, step_growth(iterations)

    def _beyond_extreme(self, state: State) -> bool:
        """Return whether a pair driven by a dead load is beyond its limit point."""
        return self.loading.load_controlled and state.stiffness(self.loading.driven) <= 0

    def increment_from_rest(self) -> float:
        """Return the step to the requested value, limited by the scale of the driven device."""
        scale = self.loading.scale(self.state.loads, self.state.conjugates)[self.loading.driven]
        return float(np.clip(self.target - self.state.parameter, -scale, scale))

    def _with_work(self, state: State) -> State:
        """Return a new state with the work of the loads up to it."""
        tolerance = self._energy_tolerance
        if self.state.rest:  # the work up to the requested value is larger, at least in proportion
            tolerance *= self.increment_from_rest() / (state.parameter - self.state.parameter)
        try:
            found = with_work(self.state, state, self.loading.conjugate_scale, tolerance)
        except EnergyBalanceError as failure:
            self.jumps_branch |= failure.jumps_branch
            raise
        self.jumps_branch = False
        return found

    def with_iterations(self, state: State) -> State:
        """Return a state with the number of iterations since the last one."""
        iterations, self._iterations = self._iterations, 0
        return replace(state, iterations=iterations)
