"""The start of a path: prestress of threads, and the slopes of the path close to rest."""

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
"""The slope at rest is evaluated at this fraction of the first step."""


def apply_prestress(model: Model, loading: Loading) -> Array:
    """Return x at rest; the prestress of threads that are too short is increased step by step.

    Raises
    ------
    PathEndError
        If there is no stable equilibrium with the full prestress.
    """
    trial = evaluate(model, loading, model.rest(), np.zeros(3))
    slope, done, step = 0.0 * trial.x, 0.0, 1.0
    while done < 1.0:
        fraction = step_toward(1.0, done, step)
        model.set_prestress_fraction(fraction)
        guess = trial.x + (fraction - done) * slope
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
                    prestress_fraction=done,
                ) from failure
        else:
            slope = (found.x - trial.x) / (fraction - done)
            trial, done = found, fraction
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
    """Return the state of rest with the slopes of the path a small step beyond it.

    At rest itself, for Newton's method, the tangent is that of threads just taut; on the path their
    stiffness begins at zero, in the toe region.
    """
    step = REST_PERTURBATION * (value - rest.parameter)
    loads = rest.loads + step * rest.load_slope
    trial = evaluate(model, loading, rest.x + step * rest.slope, loads)
    beyond = path_state(model, loading, loading.at(rest.parameter + step), trial)
    return replace(
        rest,
        slope=beyond.slope,
        load_slope=beyond.load_slope,
        conjugate_slope=beyond.conjugate_slope,
        stable=beyond.stable,
        rest=True,
    )
