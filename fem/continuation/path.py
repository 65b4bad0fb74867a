r"""The equilibrium path in stages, with adaptive steps, also through limit points.

The path is followed stage by stage (:mod:`fem.continuation.loading`). The path parameter of a stage
is the value of its driven device; each step (:mod:`fem.continuation.stepper`) uses Newton's method
(:mod:`fem.continuation.newton`). All models use this module.

Step. The first trial is the next requested value. A step that fails is repeated with a smaller
length; the length grows again after steps of few iterations.

Limit point (:mod:`fem.continuation.events`). Where a stage driven by a dead load fails, or its
stiffness dl/dg is about to vanish before the requested load, the path is continued under control of
the conjugate displacement (the volume, for the pressure). If the load reaches the requested value,
load control is resumed. If the stiffness vanishes, the limit point is solved for and yielded, some
states beyond it follow, and the path ends.

Buckling. Where stability is lost otherwise, no step succeeds: the steps approach the last stable
state, and the path ends. Beyond it a real tube would follow another branch.

Source: textbook continuation, e.g. M. A. Crisfield, Non-linear Finite Element Analysis of Solids
and Structures 1 (1991), ch. 9 (from memory); the energy check is our own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from fem.continuation.energy_check import (
    ENERGY_TOLERANCE,
    ROUGH_ENERGY_TOLERANCE,
    EnergyBalanceError,
)
from fem.continuation.events import (
    beyond_limit,
    distance_to_limit,
    end_of_path,
    limit_ahead,
    limit_point,
)
from fem.continuation.loading import PRESSURE, Loading, Stage, prescribed
from fem.continuation.newton import Model, solve_equilibrium
from fem.continuation.start import apply_prestress, slopes_near_rest
from fem.continuation.state import State, parameter_at_load, predict
from fem.continuation.stepper import MIN_STEP, STEP_REDUCTION, Stepper, path_state, step_toward
from fem.continuation.termination import PathEndError, TerminationKind
from fem.core.arrays import Array

FIRST_STEP = 1 / 16
"""First step from rest, where threads tighten at once, as a fraction of the requested one.

It is also limited to this fraction of the scale of the driven device.
"""

MAX_EXTRAPOLATION = 1.5
"""Longest step under displacement control, as a multiple of the predicted distance to the load.

Found by trial: on 60 random cases it saves a tenth of the iterations.
"""


def follow(
    model: Model, loading: Loading, stages: Sequence[Stage], start: Array | None = None
) -> Iterator[State]:
    """Follow the path from `start` (rest unless given) through the stages.

    Yields the first state of the first output stage, then the requested states of the output
    stages, with limit points and some states beyond them.

    Raises
    ------
    PathEndError
        Where the path ends before the last requested value.
    ArithmeticError
        If there is no equilibrium at the start, or it has no tangent.
    """
    state = None
    x, loads = apply_prestress(model, loading) if start is None else start, np.zeros(3)
    for stage in stages:
        loading = loading.with_driven(stage.pair, stage.device)
        loading = loading.at(loading.constraint(loads, model.conjugate_displacements(x)))
        trial, _ = solve_equilibrium(model, loading, x, loads)
        values = stage.values(loading.driven_device.value)
        first = path_state(model, loading, loading, trial)
        if state is None and start is None and np.array_equal(trial.x, model.rest()):
            first = slopes_near_rest(model, loading, first, values[0])
        if state is not None:
            first = replace(first, work=state.work, absolute_work=state.absolute_work)
        elif stage.output:
            yield first
        tolerance = ENERGY_TOLERANCE if stage.output else ROUGH_ENERGY_TOLERANCE
        stepper = Stepper(model, loading, first, tolerance)
        yield from (found for found in _solve_stage(stepper, values) if stage.output)
        last = stepper.state
        x, loads, loading = last.x, last.loads, loading.at(last.parameter)
        state = last if stage.output else None


def _solve_stage(stepper: Stepper, values: Sequence[float]) -> Iterator[State]:
    """Solve for each of `values`, and yield the states there."""
    for value in values:
        stepper.target = value
        yield from _advance_to(stepper, value)
        yield stepper.with_iterations(replace(stepper.state, requested=True))


def _advance_to(stepper: Stepper, value: float) -> Iterator[State]:
    """Continue the path to `value`; yield limit points before it."""
    loading, state = stepper.loading, stepper.state
    step = FIRST_STEP * stepper.increment_from_rest() if state.rest else value - state.parameter
    first, load_controlled = step, loading.load_controlled
    while stepper.state.parameter != value:
        parameter = step_toward(value, stepper.state.parameter, step)
        if load_controlled and limit_ahead(stepper, parameter):
            yield from _switch_to_conjugate_control(stepper, value)
            return
        try:
            state, growth = stepper.solve(loading, parameter)
            passes = loading.driven == PRESSURE and not load_controlled
            limit = limit_point(stepper, state, PRESSURE) if passes else None
        except ArithmeticError as failure:  # see Stepper.solve
            if load_controlled and stepper.before is not None and not _stiffens(stepper, failure):
                yield from _switch_to_conjugate_control(stepper, value)
                return
            step = _cut_factor(failure) * (parameter - stepper.state.parameter)
            if abs(step) < MIN_STEP * abs(first):
                raise end_of_path(stepper, failure, first) from failure
            continue
        if limit:
            yield limit
        stepper.accept(state)
        step *= growth


def _switch_to_conjugate_control(stepper: Stepper, value: float) -> Iterator[State]:
    """Continue to the load `value` by its conjugate, or yield the limit point and states beyond."""
    pair = stepper.loading.driven
    control = stepper.loading.with_driven(pair, prescribed())
    forward = np.sign(value - stepper.state.loads[pair])
    stepper.state = stepper.state.with_conjugate_parameter(pair)
    stepper.before = stepper.before and stepper.before.with_conjugate_parameter(pair)
    first = step = _first_conjugate_step(stepper, value)
    while True:
        try:
            state, growth = stepper.solve(control, stepper.state.parameter + step)
            limit = limit_point(stepper, state, pair)
            end = limit or state
            if forward * (end.loads[pair] - value) >= 0:
                _return_to_load_control(stepper, value, end)
                return
        except ArithmeticError as failure:
            step *= _cut_factor(failure)
            if abs(step) < MIN_STEP * abs(first):
                raise end_of_path(stepper, failure, first) from failure
            continue
        stepper.accept(end)
        if limit:
            yield limit
            yield from beyond_limit(stepper, control, limit)
            raise PathEndError(TerminationKind.LIMIT_POINT, limit, buckles=True)
        distance = abs((value - end.loads[pair]) / end.load_slope[pair])
        most = MAX_EXTRAPOLATION * min(distance, distance_to_limit(stepper))
        step = float(np.clip(step * growth, -most, most))


def _first_conjugate_step(stepper: Stepper, value: float) -> float:
    """Return a fraction of the predicted step to the load `value`, at most half the path so far."""
    state, pair = stepper.state, stepper.loading.driven
    length = abs(state.conjugates[pair] - stepper.origin)
    step = float(STEP_REDUCTION * (value - state.loads[pair]) / state.load_slope[pair])
    return float(np.clip(step, -length / 2, length / 2)) if length else step


def _return_to_load_control(stepper: Stepper, value: float, beyond: State) -> None:
    """Solve at the load `value`, which lies between the last state and `beyond`."""
    pair, before = stepper.loading.driven, stepper.state
    parameter = parameter_at_load(before, beyond, pair, value)
    state, _ = stepper.solve(stepper.loading, value, predict(before, beyond, parameter))
    stepper.state, stepper.before = state, before.with_load_parameter(pair)


def _stiffens(stepper: Stepper, failure: ArithmeticError) -> bool:
    """Return whether a step failed where the tube becomes stiffer, as threads lock."""
    if not isinstance(failure, EnergyBalanceError):
        return False
    pair = stepper.loading.driven
    return failure.state.stiffness(pair) > stepper.state.stiffness(pair)


def _cut_factor(failure: ArithmeticError) -> float:
    """Return the factor on a step that failed."""
    return failure.step_factor if isinstance(failure, EnergyBalanceError) else STEP_REDUCTION
