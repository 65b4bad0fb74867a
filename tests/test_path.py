"""The equilibrium path on models of one or two unknowns whose answer is known."""

import math
from itertools import pairwise

import numpy as np
import pytest

from fem.path import (
    MOST_ITERATIONS,
    SMALLEST_STEP,
    TOLERANCE,
    DivergedError,
    NoEquilibriumError,
    correct,
    follow,
)


class Matrix:
    def __init__(self, matrix, model):
        self.model = model
        self.matrix = np.atleast_2d(matrix)
        self.negative = int((np.linalg.eigvalsh(self.matrix) < 0).sum())

    def solve(self, right):
        self.model.solved += 1
        return np.linalg.solve(self.matrix, right)


class Toy:
    """A spring: its length is pushed by the load; the subclasses say how it resists.

    It counts the tangents formed and the steps solved for, and keeps the errors looked at.
    """

    def __init__(self):
        self.tangents = self.solved = 0
        self.errors = []

    def rest(self):
        return np.zeros(1)

    def force(self, x):
        raise NotImplementedError

    def stiffness(self, x):
        raise NotImplementedError

    def residual(self, x, load):
        return self.force(x) - load * self.load_direction(x)

    def load_direction(self, x):
        return np.eye(len(x))[0]

    def tangent(self, x, load):
        self.tangents += 1
        return Matrix(self.stiffness(x), self)

    def error(self, residual):
        self.errors.append(float(np.abs(residual).max()))
        return self.errors[-1]


class Linear(Toy):
    def force(self, x):
        return 2.0 * x

    def stiffness(self, x):
        return 2.0


class Stiffening(Toy):
    def force(self, x):
        return x + x**3

    def stiffness(self, x):
        return 1 + 3 * x**2


class Softening(Toy):
    """It carries x exp(-x): 1/e at x = 1, and never more."""

    limit = math.exp(-1)

    def force(self, x):
        return x * np.exp(-x)

    def stiffness(self, x):
        return (1 - x) * np.exp(-x)


class Kinked(Toy):
    """A soft spring, and beyond x = 1 a thread a million times as stiff, with a toe."""

    toe = 1e-3
    thread = 1e6

    def force(self, x):
        taut = np.maximum(x - 1, 0.0)
        inside = np.minimum(taut, self.toe)
        return x + self.thread * (inside**2 / (2 * self.toe) + taut - inside)

    def stiffness(self, x):
        return 1.0 + self.thread * np.clip((x - 1) / self.toe, 0.0, 1.0)


class Buckling(Toy):
    """With energy x^2/2 + (1 - x) y^2/2 + y^4/4, y = 0 is no minimum where x is beyond 1."""

    def rest(self):
        return np.zeros(2)

    def force(self, x):
        x, y = x
        return np.array([x - y**2 / 2, (1 - x) * y + y**3])

    def stiffness(self, x):
        x, y = x
        return np.array([[1.0, -y], [-y, 1 - x + 3 * y**2]])


def test_path_starts_at_rest_and_reaches_each_load_exactly():
    loads = [0.1 * step for step in range(1, 8)] + [0.25, -0.3]
    states = list(follow(Stiffening(), loads))
    assert [state.load for state in states] == [0.0, *loads]
    assert states[0].x == 0.0
    for state in states:
        assert abs(state.x + state.x**3 - state.load) <= TOLERANCE
        assert state.stable


def test_slope_is_that_of_the_curve():
    for state in follow(Stiffening(), [0.5, 1.0]):
        assert state.slope == pytest.approx(1 / (1 + 3 * state.x**2), rel=1e-15)  # round-off


def test_same_load_again_costs_nothing():
    model = Linear()
    _, once, again = follow(model, [1.0, 1.0])
    assert (again.load, again.x, again.iterations) == (once.load, once.x, 0)


def test_no_load_leaves_the_state_at_rest_alone():
    assert [state.load for state in follow(Linear(), [])] == [0.0]


def test_linear_spring_needs_no_iteration():
    """The predictor is exact."""
    _, state = follow(Linear(), [3.0])
    assert (state.x, state.iterations) == (1.5, 0)


def test_predictor_knows_the_cubic_through_two_states():
    """Its first guess is off by the remainder of Hermite's interpolation and no more."""

    class Logarithmic(Toy):
        """Its path is x = exp(P) - 1, each derivative of which is at most exp(P)."""

        def force(self, x):
            return np.log1p(x)

        def stiffness(self, x):
            return 1 / (1 + x)

    model, first_errors = Logarithmic(), []
    for _ in follow(model, [0.1, 0.2, 0.3]):
        first_errors += model.errors[:1]
        model.errors.clear()
    line, _, cubic = first_errors
    # remainder in x at P = 0.3 from states at 0.1 and 0.2: (0.2 0.1)^2 / 24 exp(0.3); the residual
    # is smaller, as the spring is softer than 1
    assert 0 < cubic < (0.2 * 0.1) ** 2 / 24 * math.exp(0.3)
    assert line > 0.1**2 / 3  # about P^2 / 2


def test_stiffness_at_rest_does_not_reach_beyond_the_first_step():
    """A thread at rest is held to be as stiff as a taut one, whatever it does just beyond."""

    class StiffAtRest(Linear):
        def stiffness(self, x):
            return 2.0 if x[0] > 0 else 200.0

    model = StiffAtRest()
    path = follow(model, [1.0, 2.0])
    next(path)
    next(path)
    assert max(model.errors) > 0.9  # the guess from rest is 1/100 of what it should be
    assert next(path).iterations == 0  # the straight guess from the first state is exact


def test_failed_step_is_cut_to_a_quarter_and_easy_ones_double():
    class Timid(Linear):
        """It follows no step of more than 0.6."""

        def __init__(self):
            super().__init__()
            self.tried, self.here = [], 0.0

        def residual(self, x, load):
            self.tried.append(load)
            far = abs(load - self.here) > 0.6
            return np.full(1, np.nan) if far else super().residual(x, load)

        def tangent(self, x, load):
            self.here = load
            return super().tangent(x, load)

    model = Timid()
    list(follow(model, [1.0]))
    assert list(dict.fromkeys(model.tried[1:])) == [0.25, 0.75, 1.0]
    assert model.tried[0] == 1.0


def test_newton_converges_quadratically(monkeypatch):
    monkeypatch.setattr("fem.path.REUSE", 0.0)
    model = Stiffening()
    x, iterations = correct(model, np.array([1.2]), 2.0)
    assert x == pytest.approx(1.0, abs=TOLERANCE / 4)  # the stiffness there is 4
    e = [error for error in model.errors if error > 1e-14]  # beyond is round-off
    assert iterations == len(model.errors) - 1 == 4
    # |e_next| = f''/(2 f'^2) e^2 near the end: 6/(2 * 16) = 0.19, and less before
    assert all(after <= 0.2 * before**2 for before, after in pairwise(e))


def test_tangent_that_serves_well_is_used_again():
    model = Stiffening()
    x, iterations = correct(model, np.array([1.01]), 2.0)
    assert x == pytest.approx(1.0, abs=TOLERANCE / 4)
    assert 0 < model.tangents < iterations


def test_wrong_tangent_is_noticed_as_slow():
    """Quadratic convergence is not a matter of course: a tangent 10 % off loses it."""

    class Wrong(Stiffening):
        def stiffness(self, x):
            return 1.1 * super().stiffness(x)

    _, iterations = correct(Wrong(), np.array([1.2]), 2.0)
    assert iterations > 6


@pytest.mark.parametrize("loads", [[0.2, 0.4, 0.6], [10.0], [0.36, 0.37]])
def test_limit_point_ends_the_path_just_before_it(loads):
    model, states = Softening(), []
    with pytest.raises(NoEquilibriumError) as failure:
        states.extend(follow(model, loads))
    last = failure.value.state
    assert str(last.load) in str(failure.value)
    # the last step that failed was at most 4 times (1/CUT) the smallest one; this near the limit
    # Newton's method may fail short of it by as much again
    step = max(np.diff([0.0, *loads]))
    assert Softening.limit - 2 * 4 * SMALLEST_STEP * step < last.load <= Softening.limit + TOLERANCE
    assert abs(last.x * np.exp(-last.x) - last.load) <= TOLERANCE
    assert last.stable


def test_limit_point_comes_after_the_loads_that_were_reached():
    states = []
    with pytest.raises(NoEquilibriumError):
        for state in follow(Softening(), [0.2, 0.3, 0.4, 0.5]):
            states.append(state)
    assert [state.load for state in states] == [0.0, 0.2, 0.3]


def test_state_that_is_no_minimum_is_flagged():
    states = list(follow(Buckling(), [0.5, 0.9, 1.5, 2.0]))
    assert [state.stable for state in states] == [True, True, True, False, False]
    assert [state.x[0] for state in states] == pytest.approx([0, 0.5, 0.9, 1.5, 2.0], abs=TOLERANCE)


@pytest.mark.parametrize("loads", [[3.0], [0.5, 1.0, 3.0], [0.9, 1.1, 500.0, 2000.0, 0.5]])
def test_thread_that_goes_taut_is_got_over(loads):
    model = Kinked()
    *_, last = follow(model, loads)
    assert last.load == loads[-1]
    assert model.force(last.x) == pytest.approx(last.load, abs=TOLERANCE)
    # twenty tangents to a state would mean that steps are cut
    assert model.tangents <= MOST_ITERATIONS * len(loads)


@pytest.fixture
def counted(monkeypatch):
    """Return a list that takes the number of solved steps of each Newton run."""
    counts = []

    def count(model, x, load):
        solved = model.solved
        try:
            return correct(model, x, load)
        finally:
            counts.append(model.solved - solved)

    monkeypatch.setattr("fem.path.correct", count)
    return counts


@pytest.mark.parametrize(
    ("model", "loads"),
    [
        (Linear(), [1.0, 3.0]),
        (Stiffening(), [0.5, 30.0, 0.0]),
        (Kinked(), [0.9, 3.0, 800.0]),
        (Buckling(), [0.5, 2.0]),
    ],
    ids=lambda value: type(value).__name__,
)
def test_iterations_are_the_steps_solved_for(counted, model, loads):
    for state in follow(model, loads):
        assert state.iterations == sum(counted)
        counted.clear()


def test_iterations_in_vain_are_counted_too(counted):
    with pytest.raises(NoEquilibriumError) as failure:
        for _ in follow(Softening(), [0.3, 0.5]):
            counted.clear()
    assert failure.value.state.iterations == sum(counted) > MOST_ITERATIONS


class NoTangentBeyond(Linear):
    def tangent(self, x, load):
        if x[0] > 1:
            raise ArithmeticError("no factors")
        return super().tangent(x, load)


class NanBeyond(Linear):
    def force(self, x):
        return np.where(x > 1, np.nan, super().force(x))


class InfiniteBeyond(Linear):
    def force(self, x):
        return np.where(x > 1, np.inf, super().force(x))


@pytest.mark.parametrize("broken", [NoTangentBeyond, NanBeyond, InfiniteBeyond])
def test_broken_model_ends_the_path_at_the_last_good_state(broken):
    with pytest.raises(NoEquilibriumError) as failure:
        list(follow(broken(), [1.5, 3.0]))
    last = failure.value.state
    # the wall is at a load of 2; the last step that failed was at most 1/CUT times the smallest
    assert 2 - 4 * SMALLEST_STEP * 1.5 <= last.load <= 2.0
    assert last.x == pytest.approx(last.load / 2, abs=TOLERANCE)


def test_iterations_before_a_tangent_that_fails_are_counted_too(counted):
    class Gap(Stiffening):
        """From 2, Newton's method goes by way of 1.38 to 1.08, where there is no tangent."""

        failures = 0

        def tangent(self, x, load):
            if 1.05 < x[0] < 1.3:
                self.failures += 1
                raise ArithmeticError("no factors")
            return super().tangent(x, load)

    model = Gap()
    path = follow(model, [2.0])
    next(path)
    state = next(path)
    assert model.failures > 0
    assert state.iterations == sum(counted)


def test_step_that_overshoots_is_cut_until_it_holds():
    """Beyond x = 1.2 the model breaks; the straight guess from rest lands there, the path not."""

    class Fragile(Stiffening):
        def force(self, x):
            return np.where(x > 1.2, np.nan, super().force(x))

    model = Fragile()
    *_, last = follow(model, [2.0])
    assert last.load == 2.0
    assert last.x == pytest.approx(1.0, abs=TOLERANCE)


@pytest.mark.parametrize("force", [np.nan, np.inf])
def test_corrector_gives_up_at_once_without_a_residual(force):
    class Broken(Linear):
        def force(self, x):
            return np.full(1, force)

    with pytest.raises(DivergedError) as failure:
        correct(Broken(), np.zeros(1), 1.0)
    assert failure.value.iterations == 0


def test_corrector_gives_up_where_there_is_no_equilibrium():
    model = Softening()
    with pytest.raises(DivergedError) as failure:
        correct(model, np.zeros(1), 1.0)
    assert failure.value.iterations == model.tangents <= MOST_ITERATIONS
