"""Where a path begins: threads wound in, and the slopes a hair beyond rest."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fem.continuation.loading import Loading
from fem.continuation.newton import BorderedSystem, Model, Trial, evaluate, solve_equilibrium
from fem.continuation.state import State
from fem.continuation.stepper import (
    CUT,
    SMALLEST_STEP,
    BuckledError,
    growth_after,
    on_path,
    toward,
)
from fem.continuation.termination import PathEndError, TerminationKind
from fem.core.arrays import Array

HAIR = 1e-6
"""How far beyond rest its slope is taken, as a share of the first step."""


def set_up(model: Model, loading: Loading) -> Array:
    """Return the state at rest; threads that are too short are wound in step by step.

    Raises
    ------
    PathEndError
        If they cannot be wound in as far as they should.
    """
    trial = evaluate(model, loading, model.rest(), np.zeros(3))
    slope, done, step = 0.0 * trial.x, 0.0, 1.0
    while done < 1.0:
        share = toward(1.0, done, step)
        model.set_prestress_fraction(share)
        guess = trial.x + (share - done) * slope
        try:
            found, iterations = _wound_in(model, loading, guess)
        except ArithmeticError as failure:
            step *= CUT
            if step < SMALLEST_STEP:
                model.set_prestress_fraction(done)
                state = on_path(model, loading, loading, trial)
                raise PathEndError(
                    TerminationKind.THREADS_TOO_SHORT,
                    state,
                    buckles=isinstance(failure, BuckledError),
                    taken_up=done,
                ) from failure
        else:
            slope = (found.x - trial.x) / (share - done)
            trial, done = found, share
            step *= growth_after(iterations)
    return trial.x


def _wound_in(model: Model, loading: Loading, guess: Array) -> tuple[Trial, int]:
    """Return the equilibrium near `guess`, and its iterations, if it is stable."""
    found, iterations = solve_equilibrium(model, loading, guess, np.zeros(3))
    moved = not np.array_equal(found.x, model.rest())
    if moved and BorderedSystem(model, loading, found).n_negative_eigenvalues(loading, found):
        raise BuckledError("the tube buckles")
    return found, iterations


def leave_rest(model: Model, loading: Loading, rest: State, value: float) -> State:
    """Return the state of rest with the slopes of the path a hair beyond it.

    At rest itself the tangent is that of threads just taut, for Newton's method; on the path they
    begin with nothing, in their toe.
    """
    way = HAIR * (value - rest.parameter)
    loads = rest.loads + way * rest.load_slope
    hair = evaluate(model, loading, rest.x + way * rest.slope, loads)
    beyond = on_path(model, loading, loading.at(rest.parameter + way), hair)
    return replace(
        rest,
        slope=beyond.slope,
        load_slope=beyond.load_slope,
        conjugate_slope=beyond.conjugate_slope,
        stable=beyond.stable,
        rest=True,
    )
