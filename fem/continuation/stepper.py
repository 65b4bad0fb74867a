"""One step of the path: predictor, Newton's method, stretch of the wall, energy check, stability.

The cubic through the last two states with their slopes predicts the next one. A step counts only if
the work that the loads do along it, judged from its two ends, is stored
(:mod:`fem.continuation.energy_check`): if not, the path between has been missed, as when Newton's
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
"""A failed step is cut to a quarter."""

FEW_ITERATIONS, SOME_ITERATIONS = 6, 12
"""Most iterations of a step after which the next is four times, or twice, as long."""

MIN_STEP = 1e-3
"""The path ends where a step this share of the requested one does not converge."""

MAX_TOTAL_ITERATIONS = 1500
"""Most Newton iterations on the way to one requested value."""

MAX_STRETCH = 8.0
"""Stretch of the wall beyond which the path ends: rubber tears before it.

The softest silicones break at 7 to 10 (makers' data sheets give an elongation of 700 to 900 %; from
memory).
"""


class BuckledError(ArithmeticError):
    """The tube is unstable at the end of a step."""


class StretchLimitError(ArithmeticError):
    """At the end of a step the wall is stretched more than `MAX_STRETCH` times.

    Attributes
    ----------
    control
        The loading at the end of the step.
    stretch
        Stretch of the wall there.
    """

    def __init__(self, control: Loading, stretch: float) -> None:
        super().__init__("the rubber is torn")
        self.control, self.stretch = control, stretch


@np.errstate(all="ignore")  # what is not finite is refused below
def path_state(model: Model, requested: Loading, control: Loading, trial: Trial) -> State:
    """Return an equilibrium as a state of the path.

    Parameters
    ----------
    model
        The model.
    asked, control
        The loading whose stability counts, and that whose driven value is the path's parameter.
    trial
        The equilibrium under `control`.

    Raises
    ------
    ArithmeticError
        If the path has no direction there.
    """
    system = BorderedSystem(model, control, trial)
    slope, load_slope = system.solve(np.zeros_like(trial.x), np.eye(3)[control.driven])
    if not np.isfinite(slope).all():
        raise ArithmeticError("the path has no direction")
    return State(
        x=trial.x,
        loads=trial.loads,
        conjugates=trial.conjugates,
        parameter=control.driven_device.value,
        slope=slope,
        load_slope=load_slope,
        conjugate_slope=trial.load_vectors.T @ slope,
        stable=system.n_negative_eigenvalues(requested, trial) == 0,
        energy=model.energy(trial.x),
    )


def step_growth(iterations: int) -> float:
    """Return by what a step is multiplied after one of so many iterations."""
    return 4.0 if iterations <= FEW_ITERATIONS else 2.0 if iterations <= SOME_ITERATIONS else 1.0


def step_toward(target: float, here: float, step: float) -> float:
    """Return `here` + `step`, or `target` itself where that is as near."""
    return target if abs(step) >= (1 - 1e-9) * abs(target - here) else here + step


class Stepper:
    """The last two states of a path, and the way from them to further ones.

    Parameters
    ----------
    model, loading
        The model, and the loading whose stability counts.
    start
        First state.
    stored
        Greatest share of the work that may be missing in the stored energy.

    Attributes
    ----------
    state, before
        Last state, and the one before it if there is one.
    target
        Requested value of the driven device.
    origin
        Coordinate of the driven pair at the start.
    jumps_branch
        Whether the last trials from here released energy, as a jump to another branch does.
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
        """Take `state` for the last one."""
        self.before, self.state = self.state, state

    def solve(
        self, control: Loading, aim: float, guess: tuple[Array, Array] | None = None
    ) -> tuple[State, float]:
        """Return the state at `aim`, and by what the next step may be longer.

        Raises
        ------
        ArithmeticError
            If it is not found, torn, unstable though no load has its extreme on the way, or the
            work on the way to it is not stored.
        PathEndError
            If too many iterations were made since the last requested value.
        """
        if self._iterations > MAX_TOTAL_ITERATIONS:
            raise no_equilibrium(self.with_iterations(self.state), not self.state.stable)
        x, loads = guess or predict(self.state, self.before, aim)
        control = control.at(aim)
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
        """Return whether the load of a pair driven by a dead load is beyond its extreme."""
        return self.loading.load_controlled and state.stiffness(self.loading.driven) <= 0

    def increment_from_rest(self) -> float:
        """Return the way to the requested value, no longer than the scale of the driven device."""
        scale = self.loading.scale(self.state.loads, self.state.conjugates)[self.loading.driven]
        return float(np.clip(self.target - self.state.parameter, -scale, scale))

    def _with_work(self, state: State) -> State:
        """Return a new state with the work on the way to it."""
        share = self._energy_tolerance
        if self.state.rest:  # more work is to come, at least in proportion, before one looks
            share *= self.increment_from_rest() / (state.parameter - self.state.parameter)
        try:
            found = with_work(self.state, state, self.loading.conjugate_scale, share)
        except EnergyBalanceError as failure:
            self.jumps_branch |= failure.jumps_branch
            raise
        self.jumps_branch = False
        return found

    def with_iterations(self, state: State) -> State:
        """Return a state with the iterations since the last one counted."""
        spent, self._iterations = self._iterations, 0
        return replace(state, iterations=spent)
