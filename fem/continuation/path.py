r"""The equilibrium path: predictor, adaptive steps, work kept in account, through limit points.

The path is walked stage by stage (:mod:`fem.continuation.loading`), in each by the value s of the
driven device, with Newton's method (:mod:`fem.continuation.newton`) at every step. Both models show
it the same face, so this is the one way through for either.

Predictor. At a state on the path the bordered system gives dx/ds and the loads' change. The cubic
through the last two states with their slopes foretells the next one.

Step. The next demanded value is tried at once; what does not converge is tried with a smaller step,
and steps grow again after an easy one. A step counts only if the work that the loads do along it,
judged from its two ends, is stored (:mod:`fem.continuation.energy_check`): if not, the path between
has been missed, as when Newton's method jumps over a limit point to another branch.

Limit point. Where the load of a pair cannot grow any further, its coordinate still does. A stage
driven by a dead load that cannot be followed, or whose stiffness dl/dg is about to vanish before
the demanded load, is handed over to its coordinate (the volume, for the pressure). If the demanded
load is met after all, it goes on as before; if the stiffness vanishes, that state is found and
yielded, the curve is drawn a little way beyond, and the path ends.

Buckling. Where stability is lost otherwise, no step leads on: the last stable state is approached,
and the path ends. Beyond, the real tube would go another way than the one followed.

Source: textbook continuation, e.g. M. A. Crisfield, Non-linear Finite Element Analysis of Solids
and Structures 1 (1991), ch. 9 (from memory); the use of work is our own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from fem.continuation.energy_check import ROUGHLY_STORED, STORED, UnstoredError, book
from fem.continuation.loading import PRESSURE, Loading, Stage, held
from fem.continuation.newton import Border, DivergedError, Model, correct, look
from fem.continuation.start import BuckledError, leave_rest, on_path, set_up
from fem.continuation.state import (
    State,
    predict,
    where_load_is,
    where_load_turns,
)
from fem.continuation.step_size import CUT, SMALLEST_STEP, growth_after, toward
from fem.continuation.termination import PathEndError, TerminationKind, no_equilibrium
from fem.core.arrays import Array

START = 1 / 16
"""First step from rest, where threads tighten at once, as a share of the demanded one.

It is not longer than this share of the scale either, however much is demanded.
"""

AHEAD = 1.5
"""A step by the coordinate goes at most so far beyond where the demanded load seems to be met.

Found by trial: on 60 random cases it saves a tenth of the iterations.
"""

PATIENCE = 1500
"""So many Newton iterations on the way to one demanded value are the most."""

TEARS = 8.0
"""Stretch of the wall beyond which the path ends: no rubber holds.

The softest silicones break at 7 to 10 (makers' data sheets give an elongation of 700 to 900 %; from
memory).
"""

A_LITTLE = 0.03
"""How far beyond its end the path is asked for its stability, as a share of the first step."""

BEYOND, BEYOND_SHARE = 3, 0.08
"""States beyond a limit point, and their distance as a share of the way that led to it."""


SHARP, ROUNDS = 1e-11, 20
"""To what share of the way cheap models find limit points and tears, and in how many rounds."""


class TornError(ArithmeticError):
    """At the end of a step the rubber would be torn.

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


def follow(
    model: Model, loading: Loading, stages: Sequence[Stage], start: Array | None = None
) -> Iterator[State]:
    """Walk from `start` (rest unless given) through the stages.

    Yields the state at the beginning of the first stage that is shown, then each that is asked for
    in the shown stages, with limit points and some states that follow them.

    Raises
    ------
    PathEndError
        Where the path ends before the last demanded value.
    ArithmeticError
        If there is no equilibrium at the start, or it has no tangent.
    """
    state = None
    x, loads = set_up(model, loading) if start is None else start, np.zeros(3)
    for stage in stages:
        loading = loading.driving(stage.pair, stage.device)
        loading = loading.at(loading.relation(loads, model.coordinates(x)))
        trial, _ = correct(model, loading, x, loads)
        values = stage.values(loading.drive.value)
        first = on_path(model, loading, loading, trial)
        if state is None and start is None and np.array_equal(trial.x, model.rest()):
            first = leave_rest(model, loading, first, values[0])
        if state is not None:
            first = replace(first, work=state.work, traffic=state.traffic)
        elif stage.shown:
            yield first
        walk = _Walk(model, loading, first, STORED if stage.shown else ROUGHLY_STORED)
        yield from (found for found in walk.through(values) if stage.shown)
        x, loads, loading = walk.state.x, walk.state.loads, loading.at(walk.state.parameter)
        state = walk.state if stage.shown else None


class _Walk:
    """One stage of the path: where it stands, and where it stood before."""

    def __init__(self, model: Model, loading: Loading, start: State, stored: float) -> None:
        self.model, self.loading = model, loading
        self._stored = stored
        self.state, self.before = start, None
        self._origin = start.coordinates[loading.driven]
        self._target = start.parameter
        self._spent = 0
        self._snapped = False  # on the last trials to go on from here

    state: State
    before: State | None

    def through(self, values: Sequence[float]) -> Iterator[State]:
        """Reach each of `values`, and yield the states there."""
        for value in values:
            self._target = value
            yield from self._reach(value)
            yield self._counted(replace(self.state, asked=True))

    def _reach(self, value: float) -> Iterator[State]:
        """Go on to `value`; yield limit points on the way."""
        step = START * self._way_from_rest() if self.state.rest else value - self.state.parameter
        first, may_end = step, self.loading.by_dead_load
        while self.state.parameter != value:
            aim = toward(value, self.state.parameter, step)
            if may_end and self._limit_ahead(aim):
                yield from self._by_coordinate(value)
                return
            try:
                state, growth = self._solve(self.loading, aim)
                passes = self.loading.driven == PRESSURE and not may_end
                limit = self._limit_before(state, PRESSURE) if passes else None
            except ArithmeticError as failure:  # diverged, strayed, or a matrix without factors
                if may_end and self.before is not None and not self._stiffens(failure):
                    yield from self._by_coordinate(value)
                    return
                step = _cut(failure) * (aim - self.state.parameter)
                if abs(step) < SMALLEST_STEP * abs(first):
                    raise self._end(failure, first) from failure
                continue
            if limit:
                yield limit
            self.before, self.state = self.state, state
            step *= growth

    def _by_coordinate(self, value: float) -> Iterator[State]:
        """Reach the load `value` by way of its coordinate, or yield the limit point and beyond."""
        pair = self.loading.driven
        control = self.loading.driving(pair, held())
        forward = np.sign(value - self.state.loads[pair])
        self._pace(State.by_coordinate)
        way = self.state.coordinates[pair] - self._origin
        step = CUT * (value - self.state.loads[pair]) / self.state.load_slope[pair]
        if way:
            step = float(np.clip(step, -abs(way) / 2, abs(way) / 2))
        first = step
        while True:
            try:
                state, growth = self._solve(control, self.state.parameter + step)
                limit = self._limit_before(state, pair)
                end = limit or state
                if forward * (end.loads[pair] - value) >= 0:
                    self._land(value, end)
                    return
            except ArithmeticError as failure:
                step *= _cut(failure)
                if abs(step) < SMALLEST_STEP * abs(first):
                    raise self._end(failure, first) from failure
                continue
            self.before, self.state = self.state, end
            if limit:
                yield limit
                yield from self._beyond(control, limit)
                raise PathEndError(TerminationKind.LIMIT_POINT, limit, buckles=True)
            ahead = abs((value - self.state.loads[pair]) / self.state.load_slope[pair])
            ahead = AHEAD * min(ahead, self._until_limit())
            step = float(np.clip(step * growth, -ahead, ahead))

    def _land(self, value: float, beyond: State) -> None:
        """Go to the load `value`, which is passed between here and the state `beyond`."""
        pair, here = self.loading.driven, self.state
        aim = where_load_is(here, beyond, pair, value)
        state, _ = self._solve(self.loading, value, predict(here, beyond, aim))
        self.state, self.before = state, here.by_load(pair)

    def _beyond(self, control: Loading, limit: State) -> Iterator[State]:
        """Yield some states beyond a limit point, at most BEYOND, as far as they are found."""
        step = BEYOND_SHARE * (limit.parameter - self._origin)
        for _ in range(BEYOND):
            try:
                state, _ = self._solve(control, self.state.parameter + step)
            except PathEndError:
                return
            except ArithmeticError:
                step *= CUT
                continue
            self.before, self.state = self.state, state
            yield self._counted(state)

    def _limit_before(self, state: State, pair: int) -> State | None:
        """Return the state between here and `state` where the load of `pair` is greatest."""
        start, end = self.state.by_coordinate(pair), state.by_coordinate(pair)
        if not start.load_slope[pair] > 0 >= end.load_slope[pair]:
            return None
        if self.state.rest:  # whose slope may hold for a tiny way only: come nearer first
            raise ArithmeticError("the first step from rest leads beyond a limit point")
        control = self.loading.driving(pair, held())
        aim = where_load_turns(start, end, pair)
        found, _ = self._solve(control, aim, predict(end, start, aim))
        if self.model.cheap:
            found = self._sharpened(control, found, start if found.load_slope[pair] < 0 else end)
        # under a dead load it is just no longer a minimum
        stable = found.stable and not self.loading.by_dead_load
        return self._counted(replace(found, limit=True, stable=stable))

    def _sharpened(self, control: Loading, found: State, other: State) -> State:
        """Return a limit point nearer than `found`, by secants of the stiffness."""
        pair = control.driven
        for _ in range(ROUNDS):
            fall = found.load_slope[pair] - other.load_slope[pair]
            step = found.load_slope[pair] * (other.parameter - found.parameter) / fall
            if not abs(step) > SHARP * abs(found.parameter):
                break
            aim = found.parameter + step
            guess = predict(replace(found, rest=False), None, aim)
            other, (found, _) = found, self._solve(control, aim, guess)
        return found

    def _stiffens(self, failure: ArithmeticError) -> bool:
        """Return whether a step failed because the tube became stiffer, as where threads lock."""
        pair = self.loading.driven
        return isinstance(failure, UnstoredError) and failure.state.stiffness(
            pair
        ) > self.state.stiffness(pair)

    def _limit_ahead(self, aim: float) -> bool:
        """Return whether the load, extrapolated, has its greatest value less than half way on."""
        pair = self.loading.driven
        rest = self._until_limit()
        return bool(self.state.stiffness(pair) * rest < abs(aim - self.state.loads[pair]))

    def _until_limit(self) -> float:
        """Return how far on the coordinate the stiffness, extrapolated, is nil; inf if nowhere.

        A step far beyond would not see the load fall and rise again.
        """
        if self.before is None or self.before.rest:
            return np.inf
        pair = self.loading.driven
        now, then = self.state.stiffness(pair), self.before.stiffness(pair)
        way = self.state.coordinates[pair] - self.before.coordinates[pair]
        return float(abs(now * way / (then - now))) if 0 < now < then else np.inf

    def _pace(self, by: Callable[[State, int], State]) -> None:
        """Take another parameter for the path."""
        pair = self.loading.driven
        self.state = by(self.state, pair)
        self.before = by(self.before, pair) if self.before else None

    def _solve(
        self, control: Loading, aim: float, guess: tuple[Array, Array] | None = None
    ) -> tuple[State, float]:
        """Return the state at `aim`, and by what the next step may be longer.

        Raises
        ------
        ArithmeticError
            If it is not found, torn, unstable though no load has its extreme on the way, or the
            work on the way to it is not stored.
        """
        if self._spent > PATIENCE:
            raise no_equilibrium(self._counted(self.state), not self.state.stable)
        x, loads = guess or predict(self.state, self.before, aim)
        control = control.at(aim)
        try:
            trial, iterations = correct(self.model, control, x, loads)
        except DivergedError as failure:
            self._spent += failure.iterations
            raise
        self._spent += iterations
        if (stretch := self.model.wall_stretch(trial.x)) > TEARS:
            raise TornError(control, stretch)
        state = self._booked(on_path(self.model, self.loading, control, trial))
        if self.state.stable and not state.stable and not self._turned(state):
            raise BuckledError("the tube buckles")
        return state, growth_after(iterations)

    def _turned(self, state: State) -> bool:
        """Return whether the load of a pair driven by a dead load is beyond its extreme."""
        return self.loading.by_dead_load and state.stiffness(self.loading.driven) <= 0

    def _way_from_rest(self) -> float:
        """Return the way from rest to the demanded value, as far as it is not vast."""
        scale = self.loading.scale(self.state.loads, self.state.coordinates)[self.loading.driven]
        return float(np.clip(self._target - self.state.parameter, -scale, scale))

    def _booked(self, state: State) -> State:
        """Return a new state with the work on the way to it."""
        share = self._stored
        if self.state.rest:  # more work is to come, at least in proportion, before one looks
            share *= self._way_from_rest() / (state.parameter - self.state.parameter)
        try:
            booked = book(self.state, state, self.loading.coordinate_scale, share)
        except UnstoredError as failure:
            self._snapped |= failure.snaps
            raise
        self._snapped = False
        return booked

    def _end(self, failure: ArithmeticError, step: float) -> PathEndError:
        """Return that the path ends here, where every step of `step` or less failed."""
        if isinstance(failure, TornError):
            if self.model.cheap:
                self._approach(failure)
            return PathEndError(TerminationKind.STRETCH_LIMIT, self._counted(self.state))
        last = self._counted(self.state)
        buckles = isinstance(failure, BuckledError) or not last.stable or self._snapped
        return no_equilibrium(last, buckles or self._unstable_at(A_LITTLE * step))

    def _approach(self, torn: TornError) -> None:
        """Go on to where the wall is stretched just as far as it bears, by false position."""
        far, over = torn.control.drive.value, np.log(torn.stretch / TEARS)
        for _ in range(ROUNDS):
            room = np.log(TEARS / self.model.wall_stretch(self.state.x))
            way = (far - self.state.parameter) * room / (room + over)
            if room <= SHARP:
                return
            try:
                state, _ = self._solve(torn.control, self.state.parameter + way)
            except TornError as failure:
                far, over = failure.control.drive.value, np.log(failure.stretch / TEARS)
            except ArithmeticError:
                return
            else:
                self.before, self.state = self.state, state

    @np.errstate(all="ignore")  # what is foretold may be impossible
    def _unstable_at(self, way: float) -> bool:
        """Return whether the state that is foretold so much further on is unstable."""
        foretold = predict(self.state, None, self.state.parameter + way)
        try:
            trial = look(self.model, self.loading, *foretold)
            return Border(self.model, self.loading, trial).negative(self.loading, trial) > 0
        except ArithmeticError:
            return False

    def _counted(self, state: State) -> State:
        """Return a state with the iterations since the last one counted."""
        spent, self._spent = self._spent, 0
        return replace(state, iterations=spent)


def _cut(failure: ArithmeticError) -> float:
    """Return by what a step that failed is multiplied."""
    return failure.cut if isinstance(failure, UnstoredError) else CUT
