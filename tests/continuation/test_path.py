"""The equilibrium path: what is asked for is reached, and in how many steps and iterations."""

import math

import numpy as np
import pytest

from fem.continuation.loading import AXIAL, PRESSURE, Stage, dead_load, prescribed, spring
from fem.continuation.newton import TOLERANCE, BorderedSystem, solve_equilibrium
from fem.continuation.path import FIRST_STEP, follow
from fem.continuation.stepper import MIN_STEP, STEP_REDUCTION
from fem.continuation.termination import PathEndError, TerminationKind
from fem.results.equilibrium_checks import energy_gap
from tests.helpers.toys import Linear, Stiffening, Toy, loading, quadratic, through
from tests.helpers.walks import pushed, replace_newton, up_to_its_end


class Kinked(Toy):
    """A soft spring, and beyond x = 1 a thread a million times as stiff, with a toe."""

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


# --- what is asked for is reached ---------------------------------------------------------------


def test_path_starts_at_rest_and_reaches_each_load_exactly():
    loads = [0.1 * step for step in range(1, 8)] + [0.25, -0.3]
    states = list(pushed(Stiffening(), *loads))
    # a load is changed by Newton's steps, and what is left of the gap is round-off
    assert [state.pressure for state in states] == pytest.approx([0.0, *loads], abs=1e-14)
    assert [state.requested for state in states] == [False] + [True] * len(loads)
    assert states[0].x == 0.0
    for state in states:
        assert abs(state.x + state.x**3 - state.pressure) <= TOLERANCE
        assert state.stable and not state.limit
        assert state.parameter == pytest.approx(state.pressure, abs=1e-14)
        assert state.conjugates[PRESSURE] == state.x[0]


def test_slopes_are_those_of_the_curve():
    for state in pushed(Stiffening(), 0.5, 1.0):
        slope = 1 / (1 + 3 * state.x**2)
        # at rest it is that a hair beyond: of 1e-6 of the first step
        rel = 1e-11 if state.rest else 1e-15
        assert state.slope == pytest.approx(slope, rel=rel)
        assert state.conjugate_slope == pytest.approx([slope[0], 0, 0], rel=rel)
        assert state.load_slope == pytest.approx([1, 0, 0], rel=1e-12)
        assert state.stiffness(PRESSURE) == pytest.approx(1 / slope[0], rel=1e-11)


def test_same_load_again_costs_nothing():
    _, once, again = pushed(Linear(), 1.0, 1.0)
    assert (again.pressure, again.x, again.iterations) == (once.pressure, once.x, 0)


@pytest.mark.parametrize(
    "device", [dead_load(), prescribed(), spring(0.5)], ids=["dead", "held", "spring"]
)
def test_path_ends_where_the_model_buckles(device):
    states, failure = up_to_its_end(
        follow(Buckling(), loading(), [through(0.5, 0.9, 3.0, device=device)]),
        TerminationKind.STABILITY_LOST,
    )
    assert all(state.stable for state in states) and failure.buckles
    assert failure.state.stable
    assert 1 - 4 * MIN_STEP < failure.state.x[0] <= 1.0


def test_state_that_is_no_minimum_is_flagged():
    class Toppling(Linear):
        """A second unknown is held by nothing from the start."""

        size = 2

        def energy(self, x):
            return float(x[0] ** 2 - x[1] ** 2)

        def internal_force(self, x):
            return np.array([2.0, -2.0]) * x

        def stiffness(self, x):
            return np.diag([2.0, -2.0])

    states = list(pushed(Toppling(), 0.5, 2.0))
    assert [state.stable for state in states] == [False, False, False]
    assert [state.x[0] for state in states] == pytest.approx([0, 0.25, 1.0], abs=TOLERANCE)


def test_stage_that_is_not_shown_leads_to_one_that_is():
    stages = [through(2.0, pair=AXIAL, device=dead_load()), through(0.5)]
    hidden = [Stage(AXIAL, dead_load(), to=2.0, output=False), through(0.5)]
    output = list(follow(quadratic(), loading(), stages))
    first, last = follow(quadratic(), loading(), hidden)
    assert [state.loads.tolist() for state in output] == [[0, 0, 0], [0, 2, 0], [0.5, 2, 0]]
    assert first.loads.tolist() == [0, 2, 0]
    assert last.x == pytest.approx(output[-1].x, abs=1e-7)
    # the work counts from the first state that is shown
    assert first.work == first.absolute_work == 0.0
    assert last.work == pytest.approx(output[2].work - output[1].work, rel=1e-9)


def test_path_may_start_from_another_state():
    model = Stiffening()
    states = list(follow(model, loading(dead_load()), [through(2.0)], start=np.array([0.3])))
    assert states[0].x == pytest.approx(0.0, abs=TOLERANCE)  # the devices ask for no load
    assert states[-1].x == pytest.approx(1.0, abs=TOLERANCE)


# --- the predictor and the steps ----------------------------------------------------------------


def test_linear_spring_needs_one_iteration():
    """It is the one from rest; from then on the predictor is exact."""
    _, state = pushed(Linear(), 3.0)
    assert (state.x, state.iterations) == (1.5, 1)


def test_predictor_knows_the_cubic_through_two_states():
    """Its first guess is off by the remainder of Hermite's interpolation and no more."""

    class Logarithmic(Toy):
        """Its path is x = exp(P) - 1, each derivative of which is at most exp(P)."""

        def energy(self, x):
            return float((1 + x[0]) * np.log1p(x[0]) - x[0])

        def internal_force(self, x):
            return np.log1p(x)

        def stiffness(self, x):
            return 1 / (1 + x)

    model, first_errors = Logarithmic(), []
    for _ in pushed(model, 0.1, 0.2, 0.3):
        first_errors.append(model.errors[:1])
        model.errors.clear()
    (last,) = first_errors[-1]
    # remainder in x at P = 0.3 from states at 0.1 and 0.2: (0.2 0.1)^2 / 24 exp(0.3); the residual
    # is smaller, as the spring is softer than 1
    assert 0 < last < (0.2 * 0.1) ** 2 / 24 * math.exp(0.3)
    line = 0.1**2 / 2 * math.exp(0.2) * math.exp(-0.3)  # by the slope alone it would be this
    assert last < line / 100


def test_stiffness_at_rest_is_left_to_the_first_iteration():
    """A thread at rest is held to be as stiff as a taut one, whatever it does just beyond."""

    class StiffAtRest(Linear):
        def stiffness(self, x):
            return 2.0 if x[0] > 0 else 200.0

    rest, first, second = pushed(StiffAtRest(), 1.0, 2.0)
    assert rest.rest and not first.rest
    assert rest.slope == 0.5  # of the path, not of the tangent
    assert (second.x, second.iterations) == (1.0, 0)  # the guess from the first state is exact
    assert energy_gap(rest, second) < 1e-12


def test_failed_step_is_cut_and_easy_ones_grow():
    class Timid(Linear):
        """It follows no step of more than 0.3; where it is differentiated is written down."""

        def __init__(self):
            super().__init__()
            self.visited = [0.0]

        def internal_force(self, x):
            far = abs(x[0] - self.visited[-1]) > 0.3
            return np.full(1, np.nan) if far else super().internal_force(x)

        def tangent(self, x, loads):
            self.visited.append(float(x[0]))
            return super().tangent(x, loads)

    model = Timid()
    list(follow(model, loading(), [through(1.0, device=prescribed())]))
    place, step, expected = 0.0, FIRST_STEP, []
    while place < 1.0:
        aim = min(1.0, place + step)
        if aim - place > 0.3:
            step = STEP_REDUCTION * (aim - place)
            continue
        place, step = aim, 4 * step
        expected.append(place)
    # at rest the slope is taken a hair beyond: that is no step
    visited = sorted({place for place in model.visited if place > 1e-3})
    assert visited == pytest.approx(expected, rel=1e-12)
    assert len(expected) > 4


def test_step_that_overshoots_is_cut_until_it_holds():
    """Beyond x = 1.2 the model breaks; the straight guess lands there, the path not."""

    class Fragile(Stiffening):
        def internal_force(self, x):
            return np.where(x > 1.2, np.nan, super().internal_force(x))

    *_, last = pushed(Fragile(), 2.0)
    assert last.pressure == 2.0
    assert last.x == pytest.approx(1.0, abs=TOLERANCE)


@pytest.mark.parametrize("loads", [[3.0], [0.5, 1.0, 3.0], [0.9, 1.1, 500.0, 2000.0, 0.5]])
def test_thread_that_goes_taut_is_got_over(loads):
    model = Kinked()
    *_, last = pushed(model, *loads)
    assert last.pressure == pytest.approx(loads[-1], abs=TOLERANCE)
    assert model.internal_force(last.x) == pytest.approx(last.pressure, abs=TOLERANCE)


def test_thread_that_goes_taut_within_one_requested_step_is_got_over():
    *_, last = pushed(Kinked(), 0.9, 3.0)
    assert last.pressure == pytest.approx(3.0, abs=TOLERANCE)


# --- iterations are counted ---------------------------------------------------------------------


@pytest.fixture
def counted(monkeypatch):
    """Return a list that takes the number of steps solved for in each Newton run."""
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
def test_iterations_are_the_steps_solved_for(counted, model, loads):
    for state in pushed(model, *loads):
        assert state.iterations == sum(counted)
        counted.clear()


@pytest.mark.parametrize(
    "device", [dead_load(), prescribed(), spring(0.5)], ids=["dead", "held", "spring"]
)
def test_iterations_in_vain_are_counted_too(counted, device):
    class Jammed(Linear):
        """Beyond x = 1 its tangent is wrong by so much that Newton's method stands still."""

        def stiffness(self, x):
            return 2.0 if x[0] < 1 else 2e9

        def internal_force(self, x):
            return 2.0 * x + np.where(x > 1, 1.0, 0.0)

    path = follow(Jammed(), loading(), [through(0.4, device=device), through(3.0, device=device)])
    with pytest.raises(PathEndError) as failure:
        for state in path:
            assert state.iterations == sum(counted)
            counted.clear()
    assert failure.value.state.iterations == sum(counted) > 2
