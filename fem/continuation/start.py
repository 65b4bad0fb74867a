"""Where a path begins: threads wound in, and the slopes a hair beyond rest."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fem.continuation.loading import Loading
from fem.continuation.newton import BorderedSystem, Model, Trial, evaluate, solve_equilibrium
from fem.continuation.state import State
from fem.continuation.stepper import (
    MIN_STEP,
    STEP_REDUCTION,
    BuckledError,
    path_state,
    step_growth,
    step_toward,
)
from fem.continuation.termination import PathEndError, TerminationKind
from fem.core.arrays import Array

REST_PERTURBATION = 1e-6
"""How far beyond rest its slope is taken, as a share of the first step."""


def apply_prestress(model: Model, loading: Loading) -> Array:
    """Return the state at rest; threads that are too short are wound in step by step.

    Raises
    ------
    PathEndError
        If they cannot be wound in as far as they should.
    """
    trial = evaluate(model, loading, model.rest(), np.zeros(3))
    slope, done, step = 0.0 * trial.x, 0.0, 1.0
    while done < 1.0:
        share = step_toward(1.0, done, step)
        model.set_prestress_fraction(share)
        guess = trial.x + (share - done) * slope
        try:
            found, iterations = _stable_equilibrium(model, loading, guess)
        except ArithmeticError as failure:
            step *= STEP_REDUCTION
            if step < MIN_STEP:
                model.set_prestress_fraction(done)
                state = path_state(model, loading, loading, trial)
                raise PathEndError(
                    TerminationKind.THREADS_TOO_SHORT,
                    state,
                    buckles=isinstance(failure, BuckledError),
                    taken_up=done,
                ) from failure
        else:
            slope = (found.x - trial.x) / (share - done)
            trial, done = found, share
            step *= step_growth(iterations)
    return trial.x


def _stable_equilibrium(model: Model, loading: Loading, guess: Array) -> tuple[Trial, int]:
    """Return the equilibrium near `guess`, and its iterations, if it is stable."""
    found, iterations = solve_equilibrium(model, loading, guess, np.zeros(3))
    moved = not np.array_equal(found.x, model.rest())
    if moved and BorderedSystem(model, loading, found).n_negative_eigenvalues(loading, found):
        raise BuckledError("the tube buckles")
    return found, iterations


def slopes_near_rest(model: Model, loading: Loading, rest: State, value: float) -> State:
    """Return the state of rest with the slopes of the path a hair beyond it.

    At rest itself the tangent is that of threads just taut, for Newton's method; on the path they
    begin with nothing, in their toe.
    """
    way = REST_PERTURBATION * (value - rest.parameter)
    loads = rest.loads + way * rest.load_slope
    hair = evaluate(model, loading, rest.x + way * rest.slope, loads)
    beyond = path_state(model, loading, loading.at(rest.parameter + way), hair)
    return replace(
        rest,
        slope=beyond.slope,
        load_slope=beyond.load_slope,
        conjugate_slope=beyond.conjugate_slope,
        stable=beyond.stable,
        rest=True,
    )
