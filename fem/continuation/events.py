"""Events on the path: limit points, what lies beyond them, the stretch limit, loss of stability.

Limit point. Where the load of a pair cannot grow any further, its coordinate still does: with the
coordinate held, the state where the stiffness dl/dg vanishes is found between two states by the
cubic of the load, and by secants where the model converges to round-off.

Stretch limit. The state where the wall is stretched just as far as allowed is found by false
position of the logarithm of the stretch.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from fem.continuation.loading import Loading, prescribed
from fem.continuation.newton import BorderedSystem, evaluate
from fem.continuation.state import State, parameter_at_load_extreme, predict
from fem.continuation.stepper import (
    MAX_STRETCH,
    STEP_REDUCTION,
    BuckledError,
    Stepper,
    StretchLimitError,
)
from fem.continuation.termination import PathEndError, TerminationKind, no_equilibrium

PROBE_STEP = 0.03
"""How far beyond its end the path is asked for its stability, as a share of the first step."""

STATES_BEYOND, STEP_BEYOND = 3, 0.08
"""States beyond a limit point, and their distance as a share of the way that led to it."""

ROOT_TOLERANCE, MAX_ROOT_ITERATIONS = 1e-11, 20
"""Accuracy, as a share of the way, of limit points and stretch limits of models that converge to
round-off, and most rounds to reach it."""


def limit_point(stepper: Stepper, end: State, pair: int) -> State | None:
    """Return the state between the last one and `end` where the load of `pair` is greatest.

    None if there is no such state.

    Raises
    ------
    ArithmeticError
        If it is not found.
    """
    here, after = stepper.state.with_conjugate_parameter(pair), end.with_conjugate_parameter(pair)
    if not here.load_slope[pair] > 0 >= after.load_slope[pair]:
        return None
    if here.rest:  # whose slope may hold for a tiny way only: come nearer first
        raise ArithmeticError("the first step from rest leads beyond a limit point")
    control = stepper.loading.with_driven(pair, prescribed())
    aim = parameter_at_load_extreme(here, after, pair)
    found, _ = stepper.solve(control, aim, predict(after, here, aim))
    if stepper.model.converge_to_roundoff:
        other = here if found.load_slope[pair] < 0 else after
        found = _to_round_off(stepper, control, found, other)
    # under a dead load it is just no longer a minimum
    stable = found.stable and not stepper.loading.load_controlled
    return stepper.with_iterations(replace(found, limit=True, stable=stable))


def _to_round_off(stepper: Stepper, control: Loading, found: State, other: State) -> State:
    """Return a limit point nearer than `found`, by secants of the stiffness."""
    pair = control.driven
    for _ in range(MAX_ROOT_ITERATIONS):
        fall = found.load_slope[pair] - other.load_slope[pair]
        step = found.load_slope[pair] * (other.parameter - found.parameter) / fall
        if not abs(step) > ROOT_TOLERANCE * abs(found.parameter):
            break
        aim = found.parameter + step
        guess = predict(replace(found, rest=False), None, aim)
        other, (found, _) = found, stepper.solve(control, aim, guess)
    return found


def beyond_limit(stepper: Stepper, control: Loading, limit: State) -> Iterator[State]:
    """Yield some states beyond a limit point, at most `BEYOND`, as far as they are found."""
    step = STEP_BEYOND * (limit.parameter - stepper.origin)
    for _ in range(STATES_BEYOND):
        try:
            state, _ = stepper.solve(control, stepper.state.parameter + step)
        except PathEndError:
            return
        except ArithmeticError:
            step *= STEP_REDUCTION
            continue
        stepper.accept(state)
        yield stepper.with_iterations(state)


def limit_ahead(stepper: Stepper, aim: float) -> bool:
    """Return whether the load, extrapolated, has its greatest value less than half way to `aim`."""
    pair, state = stepper.loading.driven, stepper.state
    load = state.stiffness(pair) * distance_to_limit(stepper)
    return bool(load < abs(aim - state.loads[pair]))


def distance_to_limit(stepper: Stepper) -> float:
    """Return how far on the coordinate the stiffness, extrapolated, is zero; inf if nowhere.

    A step far beyond would not see the load fall and rise again.
    """
    state, before, pair = stepper.state, stepper.before, stepper.loading.driven
    if before is None or before.rest:
        return np.inf
    now, then = state.stiffness(pair), before.stiffness(pair)
    way = state.conjugates[pair] - before.conjugates[pair]
    return float(abs(now * way / (then - now))) if 0 < now < then else np.inf


def end_of_path(stepper: Stepper, failure: ArithmeticError, step: float) -> PathEndError:
    """Return that the path ends at the last state, beyond which every step up to `step` failed."""
    if isinstance(failure, StretchLimitError):
        if stepper.model.converge_to_roundoff:
            _approach_stretch_limit(stepper, failure)
        return PathEndError(TerminationKind.STRETCH_LIMIT, stepper.with_iterations(stepper.state))
    last = stepper.with_iterations(stepper.state)
    buckles = isinstance(failure, BuckledError) or not last.stable or stepper.jumps_branch
    return no_equilibrium(last, buckles or _unstable_at(stepper, PROBE_STEP * step))


def _approach_stretch_limit(stepper: Stepper, torn: StretchLimitError) -> None:
    """Go on to where the wall is stretched just as far as allowed, by false position."""
    far, over = torn.control.driven_device.value, np.log(torn.stretch / MAX_STRETCH)
    for _ in range(MAX_ROOT_ITERATIONS):
        room = np.log(MAX_STRETCH / stepper.model.wall_stretch(stepper.state.x))
        way = (far - stepper.state.parameter) * room / (room + over)
        if room <= ROOT_TOLERANCE:
            return
        try:
            state, _ = stepper.solve(torn.control, stepper.state.parameter + way)
        except StretchLimitError as failure:
            far, over = failure.control.driven_device.value, np.log(failure.stretch / MAX_STRETCH)
        except ArithmeticError:
            return
        else:
            stepper.accept(state)


@np.errstate(all="ignore")  # what is predicted may be impossible
def _unstable_at(stepper: Stepper, way: float) -> bool:
    """Return whether the state that is predicted at this distance is unstable."""
    model, loading = stepper.model, stepper.loading
    predicted = predict(stepper.state, None, stepper.state.parameter + way)
    try:
        trial = evaluate(model, loading, *predicted)
        return BorderedSystem(model, loading, trial).n_negative_eigenvalues(loading, trial) > 0
    except ArithmeticError:
        return False
