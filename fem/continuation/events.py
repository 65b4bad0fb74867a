"""Events on the path: limit points, what lies beyond them, the stretch limit, loss of stability.

Limit point. Where the load of a pair has an extreme, its conjugate displacement still grows. With
prescribed displacement, the state of zero stiffness dl/dg is found between two states by the cubic
of the load, and by secants if the model converges to round-off.

Stretch limit. The state whose wall stretch equals the limit is found by the method of false
position for the logarithm of the stretch.
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
"""Beyond the end of a path, stability is checked after this fraction of the first step."""

STATES_BEYOND, STEP_BEYOND = 3, 0.08
"""Number of states beyond a limit point, and their distance as a fraction of the path before it."""

ROOT_TOLERANCE, MAX_ROOT_ITERATIONS = 1e-11, 20
"""Relative accuracy of limit points and stretch limits of models that converge to round-off, and
most iterations."""


def limit_point(stepper: Stepper, end: State, pair: int) -> State | None:
    """Return the state between the last one and `end` where the load of `pair` has a maximum.

    None if there is no such state.

    Raises
    ------
    ArithmeticError
        If it is not found.
    """
    before, after = stepper.state.with_conjugate_parameter(pair), end.with_conjugate_parameter(pair)
    if not before.load_slope[pair] > 0 >= after.load_slope[pair]:
        return None
    if before.rest:  # its slope may be valid for a very short step only: reduce the step
        raise ArithmeticError("the first step from rest passes a limit point")
    control = stepper.loading.with_driven(pair, prescribed())
    parameter = parameter_at_load_extreme(before, after, pair)
    found, _ = stepper.solve(control, parameter, predict(after, before, parameter))
    if stepper.model.converge_to_roundoff:
        other = before if found.load_slope[pair] < 0 else after
        found = _to_round_off(stepper, control, found, other)
    # under a dead load a limit point is no minimum
    stable = found.stable and not stepper.loading.load_controlled
    return stepper.with_iterations(replace(found, limit=True, stable=stable))


def _to_round_off(stepper: Stepper, control: Loading, found: State, other: State) -> State:
    """Return the limit point close to `found`, by secants of the stiffness."""
    pair = control.driven
    for _ in range(MAX_ROOT_ITERATIONS):
        fall = found.load_slope[pair] - other.load_slope[pair]
        step = found.load_slope[pair] * (other.parameter - found.parameter) / fall
        if not abs(step) > ROOT_TOLERANCE * abs(found.parameter):
            break
        parameter = found.parameter + step
        guess = predict(replace(found, rest=False), None, parameter)
        other, (found, _) = found, stepper.solve(control, parameter, guess)
    return found


def beyond_limit(stepper: Stepper, control: Loading, limit: State) -> Iterator[State]:
    """Yield states beyond a limit point, at most `STATES_BEYOND`."""
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


def limit_ahead(stepper: Stepper, load: float) -> bool:
    """Return whether the extrapolated load has its maximum less than half way to `load`."""
    pair, state = stepper.loading.driven, stepper.state
    twice_rise = state.stiffness(pair) * distance_to_limit(stepper)
    return bool(twice_rise < abs(load - state.loads[pair]))


def distance_to_limit(stepper: Stepper) -> float:
    """Return the change of g after which the extrapolated stiffness vanishes; inf if it never does.

    A step far beyond could miss that the load falls and rises again.
    """
    state, before, pair = stepper.state, stepper.before, stepper.loading.driven
    if before is None or before.rest:
        return np.inf
    last, previous = state.stiffness(pair), before.stiffness(pair)
    change = state.conjugates[pair] - before.conjugates[pair]
    return float(abs(last * change / (previous - last))) if 0 < last < previous else np.inf


def end_of_path(stepper: Stepper, failure: ArithmeticError, step: float) -> PathEndError:
    """Return the error that ends the path at the last state, beyond which no step succeeded."""
    if isinstance(failure, StretchLimitError):
        if stepper.model.converge_to_roundoff:
            _approach_stretch_limit(stepper, failure)
        return PathEndError(TerminationKind.STRETCH_LIMIT, stepper.with_iterations(stepper.state))
    last = stepper.with_iterations(stepper.state)
    buckles = isinstance(failure, BuckledError) or not last.stable or stepper.jumps_branch
    return no_equilibrium(last, buckles or _unstable_at(stepper, PROBE_STEP * step))


def _approach_stretch_limit(stepper: Stepper, exceeded: StretchLimitError) -> None:
    """Continue to the state at the stretch limit, by the method of false position."""
    far, above = exceeded.control.driven_device.value, np.log(exceeded.stretch / MAX_STRETCH)
    for _ in range(MAX_ROOT_ITERATIONS):
        below = np.log(MAX_STRETCH / stepper.model.wall_stretch(stepper.state.x))
        step = (far - stepper.state.parameter) * below / (below + above)
        if below <= ROOT_TOLERANCE:
            return
        try:
            state, _ = stepper.solve(exceeded.control, stepper.state.parameter + step)
        except StretchLimitError as failure:
            far, above = failure.control.driven_device.value, np.log(failure.stretch / MAX_STRETCH)
        except ArithmeticError:
            return
        else:
            stepper.accept(state)


@np.errstate(all="ignore")  # the predicted state may be inadmissible
def _unstable_at(stepper: Stepper, step: float) -> bool:
    """Return whether the predicted state after a step is unstable."""
    model, loading = stepper.model, stepper.loading
    predicted = predict(stepper.state, None, stepper.state.parameter + step)
    try:
        trial = evaluate(model, loading, *predicted)
        return BorderedSystem(model, loading, trial).n_negative_eigenvalues(loading, trial) > 0
    except ArithmeticError:
        return False
