"""The equilibrium path: requested states, steps and numbers of iterations."""

import math

import numpy as np
import pytest

from fem.continuation.loading import AXIAL, PRESSURE, Stage, dead_load, prescribed, spring
from fem.continuation.newton import TOLERANCE, BorderedSystem, solve_equilibrium
from fem.continuation.path import FIRST_STEP, follow
from fem.continuation.stepper import MIN_STEP, STEP_REDUCTION
from fem.continuation.termination import PathEndError, TerminationKind
from fem.results.equilibrium_checks import energy_gap
from tests.helpers.paths import follow_pressures, replace_newton, states_and_end
from tests.helpers.toys import Linear, Stiffening, Toy, loading, quadratic, through


class Kinked(Toy):
    """A soft spring, and beyond x = 1 a thread a million times as stiff, with a toe region."""

    toe = 1e-3
    thread = 1e6

    def parts(self, x):
        taut = np.maximum(x - 1, 0.0)
        return taut, np.minimum(taut, self.toe)

    def energy(self, x):
        taut, inside = (float(part[0]) for part in self.parts(x))
        beyond = taut - inside
        stored = inside**3 / (6 * self.toe) + beyond * self.toe / 2 + beyond**2 / 2
        return float(x[0] ** 2 / 2) + self.thread * stored

    def internal_force(self, x):
        taut, inside = self.parts(x)
        return x + self.thread * (inside**2 / (2 * self.toe) + taut - inside)

    def stiffness(self, x):
        return 1.0 + self.thread * np.clip((x - 1) / self.toe, 0.0, 1.0)


class Buckling(Toy):
    """With energy x^2/2 + (1 - x) y^2/2 + y^4/4, y = 0 is no minimum where x is beyond 1."""

    size = 2

    def energy(self, x):
        x, y = x
        return float(x**2 / 2 + (1 - x) * y**2 / 2 + y**4 / 4)

    def internal_force(self, x):
        x, y = x
        return np.array([x - y**2 / 2, (1 - x) * y + y**3])

    def stiffness(self, x):
        x, y = x
        return np.array([[1.0, -y], [-y, 1 - x + 3 * y**2]])


# --- requested states ---------------------------------------------------------------------------


def test_path_starts_at_rest_and_reaches_each_load_exactly():
    loads = [0.1 * step for step in range(1, 8)] + [0.25, -0.3]
    states = list(follow_pressures(Stiffening(), *loads))
    # the loads are unknowns of Newton's method, so their residual is round-off
    assert [state.pressure for state in states] == pytest.approx([0.0, *loads], abs=1e-14)
    assert [state.requested for state in states] == [False] + [True] * len(loads)
    assert states[0].x == 0.0
    for state in states:
        assert abs(state.x + state.x**3 - state.pressure) <= TOLERANCE
        assert state.stable and not state.limit
        assert state.parameter == pytest.approx(state.pressure, abs=1e-14)
        assert state.conjugates[PRESSURE] == state.x[0]


def test_slopes_of_the_path():
    for state in follow_pressures(Stiffening(), 0.5, 1.0):
        slope = 1 / (1 + 3 * state.x**2)
        # at rest it is taken at 1e-6 of the first step
        rel = 1e-11 if state.rest else 1e-15
        assert state.slope == pytest.approx(slope, rel=rel)
        assert state.conjugate_slope == pytest.approx([slope[0], 0, 0], rel=rel)
        assert state.load_slope == pytest.approx([1, 0, 0], rel=1e-12)
        assert state.stiffness(PRESSURE) == pytest.approx(1 / slope[0], rel=1e-11)


def test_same_load_again_takes_no_iteration():
    _, once, again = follow_pressures(Linear(), 1.0, 1.0)
    assert (again.pressure, again.x, again.iterations) == (once.pressure, once.x, 0)


@pytest.mark.parametrize(
    "device", [dead_load(), prescribed(), spring(0.5)], ids=["dead", "prescribed", "spring"]
)
def test_path_ends_where_the_model_buckles(device):
    states, failure = states_and_end(
        follow(Buckling(), loading(), [through(0.5, 0.9, 3.0, device=device)]),
        TerminationKind.STABILITY_LOST,
    )
    assert all(state.stable for state in states) and failure.buckles
    assert failure.state.stable
    assert 1 - 4 * MIN_STEP < failure.state.x[0] <= 1.0


def test_state_that_is_no_minimum_is_marked():
    class Unstable(Linear):
        """A second unknown has a negative stiffness from the start."""

        size = 2

        def energy(self, x):
            return float(x[0] ** 2 - x[1] ** 2)

        def internal_force(self, x):
            return np.array([2.0, -2.0]) * x

        def stiffness(self, x):
            return np.diag([2.0, -2.0])

    states = list(follow_pressures(Unstable(), 0.5, 2.0))
    assert [state.stable for state in states] == [False, False, False]
    assert [state.x[0] for state in states] == pytest.approx([0, 0.25, 1.0], abs=TOLERANCE)


def test_stage_without_output_leads_to_one_with_output():
    stages = [through(2.0, pair=AXIAL, device=dead_load()), through(0.5)]
    hidden = [Stage(AXIAL, dead_load(), to=2.0, output=False), through(0.5)]
    output = list(follow(quadratic(), loading(), stages))
    first, last = follow(quadratic(), loading(), hidden)
    assert [state.loads.tolist() for state in output] == [[0, 0, 0], [0, 2, 0], [0.5, 2, 0]]
    assert first.loads.tolist() == [0, 2, 0]
    assert last.x == pytest.approx(output[-1].x, abs=1e-7)
    # the work counts from the first output state
    assert first.work == first.absolute_work == 0.0
    assert last.work == pytest.approx(output[2].work - output[1].work, rel=1e-9)


def test_path_may_start_at_another_state():
    model = Stiffening()
    states = list(follow(model, loading(dead_load()), [through(2.0)], start=np.array([0.3])))
    assert states[0].x == pytest.approx(0.0, abs=TOLERANCE)  # the devices prescribe no load
    assert states[-1].x == pytest.approx(1.0, abs=TOLERANCE)


# --- the predictor and the steps ----------------------------------------------------------------


def test_linear_spring_needs_one_iteration():
    """It is that of the first step; then the predictor is exact."""
    _, state = follow_pressures(Linear(), 3.0)
    assert (state.x, state.iterations) == (1.5, 1)


def test_predictor_is_the_cubic_through_two_states():
    """The error of the guess is at most the remainder of Hermite interpolation."""

    class Logarithmic(Toy):
        """Its path is x = exp(P) - 1, each derivative of which is at most exp(P)."""

        def energy(self, x):
            return float((1 + x[0]) * np.log1p(x[0]) - x[0])

        def internal_force(self, x):
            return np.log1p(x)

        def stiffness(self, x):
            return 1 / (1 + x)

    model, first_errors = Logarithmic(), []
    for _ in follow_pressures(model, 0.1, 0.2, 0.3):
        first_errors.append(model.errors[:1])
        model.errors.clear()
    (last,) = first_errors[-1]
    # remainder in x at P = 0.3 from states at 0.1 and 0.2: (0.2 0.1)^2 / 24 exp(0.3); the residual
    # is smaller, as the spring is softer than 1
    assert 0 < last < (0.2 * 0.1) ** 2 / 24 * math.exp(0.3)
    linear = 0.1**2 / 2 * math.exp(0.2) * math.exp(-0.3)  # the error of a linear predictor
    assert last < linear / 100


def test_stiffness_at_rest_is_not_the_slope_of_the_path():
    """At rest a thread has the stiffness of a taut one, unlike just beyond."""

    class StiffAtRest(Linear):
        def stiffness(self, x):
            return 2.0 if x[0] > 0 else 200.0

    rest, first, second = follow_pressures(StiffAtRest(), 1.0, 2.0)
    assert rest.rest and not first.rest
    assert rest.slope == 0.5  # of the path, not of the tangent
    assert (second.x, second.iterations) == (1.0, 0)  # the guess from the first state is exact
    assert energy_gap(rest, second) < 1e-12


def test_failed_step_is_reduced_and_others_grow():
    class ShortSteps(Linear):
        """Steps of more than 0.3 fail; the states of tangents are recorded."""

        def __init__(self):
            super().__init__()
            self.visited = [0.0]

        def internal_force(self, x):
            far = abs(x[0] - self.visited[-1]) > 0.3
            return np.full(1, np.nan) if far else super().internal_force(x)

        def tangent(self, x, loads):
            self.visited.append(float(x[0]))
            return super().tangent(x, loads)

    model = ShortSteps()
    list(follow(model, loading(), [through(1.0, device=prescribed())]))
    x, step, expected = 0.0, FIRST_STEP, []
    while x < 1.0:
        target = min(1.0, x + step)
        if target - x > 0.3:
            step = STEP_REDUCTION * (target - x)
            continue
        x, step = target, 4 * step
        expected.append(x)
    # the state for the slope at rest is no step
    visited = sorted({x for x in model.visited if x > 1e-3})
    assert visited == pytest.approx(expected, rel=1e-12)
    assert len(expected) > 4


def test_step_whose_guess_is_inadmissible_is_reduced():
    """Beyond x = 1.2 the force is not defined; the linear guess is there, the path is not."""

    class Undefined(Stiffening):
        def internal_force(self, x):
            return np.where(x > 1.2, np.nan, super().internal_force(x))

    *_, last = follow_pressures(Undefined(), 2.0)
    assert last.pressure == 2.0
    assert last.x == pytest.approx(1.0, abs=TOLERANCE)


@pytest.mark.parametrize("loads", [[3.0], [0.5, 1.0, 3.0], [0.9, 1.1, 500.0, 2000.0, 0.5]])
def test_path_through_a_thread_that_becomes_taut(loads):
    model = Kinked()
    *_, last = follow_pressures(model, *loads)
    assert last.pressure == pytest.approx(loads[-1], abs=TOLERANCE)
    assert model.internal_force(last.x) == pytest.approx(last.pressure, abs=TOLERANCE)


def test_thread_becomes_taut_within_one_requested_step():
    *_, last = follow_pressures(Kinked(), 0.9, 3.0)
    assert last.pressure == pytest.approx(3.0, abs=TOLERANCE)


# --- numbers of iterations ----------------------------------------------------------------------


@pytest.fixture
def counted(monkeypatch):
    """Return a list of the numbers of solutions in each call of Newton's method."""
    counts, solved, solve = [], [0], BorderedSystem.solve

    def count_steps(system, right, closing):
        solved[0] += 1
        return solve(system, right, closing)

    def count(*args):
        before = solved[0]
        try:
            return solve_equilibrium(*args)
        finally:
            counts.append(solved[0] - before)

    monkeypatch.setattr("fem.continuation.newton.BorderedSystem.solve", count_steps)
    replace_newton(monkeypatch, count)
    return counts


@pytest.mark.parametrize(
    ("model", "loads"),
    [
        (Linear(), [1.0, 3.0]),
        (Stiffening(), [0.5, 30.0, 0.0]),
        (Kinked(), [0.9, 1.1, 800.0]),
        (Buckling(), [0.5, 0.9]),
    ],
    ids=lambda value: type(value).__name__,
)
def test_iterations_are_the_solutions_of_the_bordered_system(counted, model, loads):
    for state in follow_pressures(model, *loads):
        assert state.iterations == sum(counted)
        counted.clear()


@pytest.mark.parametrize(
    "device", [dead_load(), prescribed(), spring(0.5)], ids=["dead", "prescribed", "spring"]
)
def test_unsuccessful_iterations_are_counted(counted, device):
    class Stagnating(Linear):
        """Beyond x = 1 the tangent is so wrong that Newton's method stagnates."""

        def stiffness(self, x):
            return 2.0 if x[0] < 1 else 2e9

        def internal_force(self, x):
            return 2.0 * x + np.where(x > 1, 1.0, 0.0)

    path = follow(
        Stagnating(), loading(), [through(0.4, device=device), through(3.0, device=device)]
    )
    with pytest.raises(PathEndError) as failure:
        for state in path:
            assert state.iterations == sum(counted)
            counted.clear()
    assert failure.value.state.iterations == sum(counted) > 2
