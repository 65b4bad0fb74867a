"""Ends of the path: invalid models, limit points, the stretch limit, threads too short."""

import numpy as np
import pytest
from scipy.optimize import brentq

from fem.continuation.events import STATES_BEYOND
from fem.continuation.loading import AXIAL, PRESSURE, TWIST, dead_load, prescribed, spring
from fem.continuation.newton import TOLERANCE, solve_equilibrium
from fem.continuation.path import follow
from fem.continuation.stepper import MAX_STRETCH, MIN_STEP, STEP_REDUCTION
from fem.continuation.termination import PathEndError, TerminationKind
from fem.results.equilibrium_checks import energy_gap
from tests.helpers.paths import follow_pressures, states_and_end
from tests.helpers.toys import Linear, Softening, Toy, loading, through


class Dipping(Toy):
    """The load is x + 0.95 sin x, almost with a limit point at pi."""

    def energy(self, x):
        return float(x[0] ** 2 / 2 + 0.95 * (1 - np.cos(x[0])))

    def internal_force(self, x):
        return x + 0.95 * np.sin(x)

    def stiffness(self, x):
        return 1 + 0.95 * np.cos(x)


class Humped(Toy):
    """The load is x exp(-x) + x^3/500: a limit point near 1, and another branch beyond 5."""

    def energy(self, x):
        return float(1 - (1 + x[0]) * np.exp(-x[0]) + x[0] ** 4 / 2000)

    def internal_force(self, x):
        return x * np.exp(-x) + x**3 / 500

    def stiffness(self, x):
        return (1 - x) * np.exp(-x) + 3 * x**2 / 500

    @property
    def top(self):
        """x and load of the limit point."""
        x = brentq(lambda x: float(self.stiffness(x)), 0.5, 2.0, xtol=1e-14)
        return x, float(self.internal_force(x))


# --- invalid models -----------------------------------------------------------------------------


class Undefined(Linear):
    """The force is not defined beyond x = 1."""

    def internal_force(self, x):
        return np.where(x > 1, np.nan, super().internal_force(x))


class NoTangent(Linear):
    def tangent(self, x, loads):
        if x[0] > 1:
            raise ArithmeticError("no factors")
        return super().tangent(x, loads)


class Infinite(Linear):
    def internal_force(self, x):
        return np.where(x > 1, np.inf, super().internal_force(x))


@pytest.mark.parametrize(
    "device", [dead_load(), prescribed(), spring(0.5)], ids=["dead", "prescribed", "spring"]
)
@pytest.mark.parametrize("invalid", [NoTangent, Undefined, Infinite])
def test_invalid_model_ends_the_path_at_the_last_state_found(invalid, device):
    states, failure = states_and_end(
        follow(invalid(), loading(), [through(0.4, 3.0, device=device)]),
        TerminationKind.NOT_CONVERGED,
    )
    last = failure.state
    # the last step that failed is at most 1/STEP_REDUCTION of the smallest; in x none exceeds 1.5
    assert 1 - MIN_STEP / STEP_REDUCTION * 1.5 <= last.x[0] <= 1.0
    assert last.pressure == pytest.approx(2 * last.x[0], abs=TOLERANCE)
    assert [state.requested for state in states] == [False, True]
    assert str(last.pressure) in str(failure)
    assert not failure.buckles


class Folding(Toy):
    """At fixed x, the second unknown y with y exp(-y) = x has a fold at x = 1/e."""

    size = 2

    def energy(self, x):
        return float(2 * x[0] ** 2 + 1 - (1 + x[1]) * np.exp(-x[1]) - x[0] * x[1])

    def internal_force(self, x):
        return np.array([4 * x[0] - x[1], x[1] * np.exp(-x[1]) - x[0]])

    def stiffness(self, x):
        return np.array([[4.0, -1.0], [-1.0, (1 - x[1]) * np.exp(-x[1])]])


def test_path_that_ends_at_a_fold_loses_its_stability():
    _, failure = states_and_end(
        follow(Folding(), loading(), [through(0.2, 0.5, device=prescribed())]),
        TerminationKind.STABILITY_LOST,
    )
    assert failure.buckles and failure.state.stable
    assert failure.state.x[0] == pytest.approx(np.exp(-1), rel=1e-2)


class Snapping(Folding):
    """With 0.3 y + sin y = x, y snaps at x = 1.5 from 1.9 to 6."""

    def energy(self, x):
        return float(2 * x[0] ** 2 + 0.15 * x[1] ** 2 + 1 - np.cos(x[1]) - x[0] * x[1])

    def internal_force(self, x):
        return np.array([4 * x[0] - x[1], 0.3 * x[1] + np.sin(x[1]) - x[0]])

    def stiffness(self, x):
        return np.array([[4.0, -1.0], [-1.0, 0.3 + np.cos(x[1])]])


def test_path_that_continues_on_another_branch_only_loses_its_stability(monkeypatch):
    # without the check of stability beyond the last state, while steps still reach the other branch
    monkeypatch.setattr("fem.continuation.events.PROBE_STEP", 0.0)
    monkeypatch.setattr("fem.continuation.path.MIN_STEP", 0.02)
    _, failure = states_and_end(
        follow(Snapping(), loading(), [through(0.5, 2.0, device=prescribed())]),
        TerminationKind.STABILITY_LOST,
    )
    assert failure.buckles and failure.state.stable
    fold = np.arccos(-0.3)
    assert failure.state.x[0] == pytest.approx(0.3 * fold + np.sin(fold), rel=0.1)


def test_model_without_a_tangent_at_rest_is_an_arithmetic_error():
    class Singular(Linear):
        def stiffness(self, x):
            return 0.0

    with pytest.raises(ArithmeticError):
        list(follow_pressures(Singular(), 1.0))


# --- limit points -------------------------------------------------------------------------------


LIMITED = [(Softening, 1.0, Softening.limit), (Humped, *Humped().top)]


@pytest.mark.parametrize("loads", [[0.2, 0.4, 0.6], [10.0], [0.36, 0.5], [0.3, 0.35, 0.36, 0.45]])
@pytest.mark.parametrize(("kind", "x", "load"), LIMITED, ids=["softening", "humped"])
def test_limit_point_ends_the_path_and_is_located(kind, x, load, loads):
    model = kind()
    states, failure = states_and_end(follow_pressures(model, *loads), TerminationKind.LIMIT_POINT)
    reached = sum(value < load for value in loads)
    assert [s.pressure for s in states if s.requested] == pytest.approx(
        loads[:reached], abs=TOLERANCE
    )
    (limit,) = (state for state in states if state.limit)
    # it is the maximum of a cubic between two states; the error of the load is of second order
    assert limit.x[0] == pytest.approx(x, abs=1e-2)
    assert limit.pressure == pytest.approx(load, abs=1e-4)
    assert failure.state.x == limit.x
    for state in states:
        assert model.internal_force(state.x) == pytest.approx(state.pressure, abs=TOLERANCE)
        assert energy_gap(states[0], state) < 2e-3
    assert all(state.stable for state in states if state.requested)
    assert not any(state.requested for state in states[reached + 1 :])


@pytest.mark.parametrize("load", [0.5, 10.0])
def test_some_states_beyond_the_limit_point_follow(load):
    model = Softening()
    states, _ = states_and_end(follow_pressures(model, 0.2, load), TerminationKind.LIMIT_POINT)
    number = next(k for k, state in enumerate(states) if state.limit)
    beyond = states[number + 1 :]
    assert len(beyond) == STATES_BEYOND
    assert np.all(np.diff([state.x[0] for state in states]) > 0)
    assert np.all(np.diff([state.pressure for state in states[number:]]) < 0)
    assert not any(state.stable for state in beyond)


def test_limit_point_is_found_under_a_falling_load():
    """The mirrored spring under negative pressure."""

    class Mirrored(Softening):
        def energy(self, x):
            return super().energy(-x)

        def internal_force(self, x):
            return -super().internal_force(-x)

        def stiffness(self, x):
            return super().stiffness(-x)

    _, failure = states_and_end(
        follow_pressures(Mirrored(), -0.2, -0.5), TerminationKind.LIMIT_POINT
    )
    assert failure.state.x[0] == pytest.approx(-1.0, abs=1e-2)
    assert failure.state.pressure == pytest.approx(-Softening.limit, abs=1e-4)


@pytest.mark.parametrize("pair", [PRESSURE, AXIAL, TWIST])
def test_limit_point_of_each_pair_is_found(pair):
    class OtherPair(Softening):
        """The same spring under another load."""

        def conjugate_displacements(self, x):
            return np.eye(3)[pair] * x[0]

        def load_vectors(self, x):
            return np.eye(3)[pair][None]

    path = follow(OtherPair(), loading(), [through(0.2, 0.6, pair=pair)])
    states, failure = states_and_end(path, TerminationKind.LIMIT_POINT)
    assert failure.state.loads[pair] == pytest.approx(Softening.limit, abs=1e-4)
    assert [state.requested for state in states][:2] == [False, True]


@pytest.mark.parametrize("loads", [[2.0, 2.8, 4.0, 6.0], [4.0], [3.0, 3.2, 3.3], [30.0]])
def test_path_passes_a_minimum_of_the_stiffness(loads):
    """It is under displacement control there, and every load is reached."""
    model, states = Dipping(), []
    for state in follow_pressures(model, *loads):
        states.append(state)
        assert model.internal_force(state.x) == pytest.approx(state.pressure, abs=TOLERANCE)
        assert energy_gap(states[0], state) < 2e-3
        assert state.stable and not state.limit
    assert [s.pressure for s in states] == pytest.approx([0.0, *loads], abs=TOLERANCE)
    assert [s.parameter for s in states] == pytest.approx([0.0, *loads], abs=TOLERANCE)


@pytest.mark.parametrize("loads", [[0.5], [0.3, 0.5], [0.2, 0.6], [2.0], [0.36, 0.4, 0.5]])
def test_jump_to_another_branch_is_rejected_by_the_energy_check(loads):
    """Beyond its limit point near 1 any load has an equilibrium again, on another branch."""
    model = Humped()
    assert brentq(lambda x: float(model.internal_force(x)) - 0.5, 2.0, 20.0) > 5
    states, failure = states_and_end(follow_pressures(model, *loads), TerminationKind.LIMIT_POINT)
    assert failure.state.x[0] < 1.5
    assert max(state.x[0] for state in states) < 2.0


def test_newton_alone_converges_to_the_other_branch():
    """Otherwise the test above would check nothing."""
    loads = np.array([0.5, 0, 0])
    trial, _ = solve_equilibrium(Humped(), loading(dead_load(0.5)), np.full(1, 1.06), loads)
    assert trial.x[0] > 5


class Bounded(Toy):
    """The load is x/(1 + x), bounded by 1 without a limit point."""

    def energy(self, x):
        return float(x[0] - np.log1p(x[0]))

    def internal_force(self, x):
        return x / (1 + x)

    def stiffness(self, x):
        return 1 / (1 + x) ** 2

    def wall_stretch(self, x):
        return float(1 + x[0])


def test_path_with_a_bounded_load_ends_at_the_stretch_limit():
    states, failure = states_and_end(
        follow_pressures(Bounded(), 0.5, 1.5), TerminationKind.STRETCH_LIMIT
    )
    assert failure.state.x[0] < MAX_STRETCH - 1
    assert failure.state.x[0] == pytest.approx(MAX_STRETCH - 1, rel=0.02)
    assert all(state.requested for state in states[1:])


def test_limit_point_to_round_off():
    model = Softening()
    model.converge_to_roundoff = True
    states, failure = states_and_end(follow_pressures(model, 0.2, 0.5), TerminationKind.LIMIT_POINT)
    assert failure.state.x[0] == pytest.approx(1.0, rel=1e-9)
    assert failure.state.pressure == pytest.approx(Softening.limit, rel=1e-14)
    assert not failure.state.stable  # no minimum
    beyond = [state.x[0] for state in states[-STATES_BEYOND:]]
    assert beyond == pytest.approx([1.08, 1.16, 1.24], rel=1e-9)


def test_stretch_limit_to_round_off():
    model = Bounded()
    model.converge_to_roundoff = True
    _, failure = states_and_end(follow_pressures(model, 0.5, 1.5), TerminationKind.STRETCH_LIMIT)
    assert 0 <= MAX_STRETCH - 1 - failure.state.x[0] < 1e-9


def test_shallow_dip_beyond_a_limit_point_is_not_missed():
    """The pressure x + 1.02 sin x falls by a few thousandths and rises again."""

    class Dented(Dipping):
        def energy(self, x):
            return float(x[0] ** 2 / 2 + 1.02 * (1 - np.cos(x[0])))

        def internal_force(self, x):
            return x + 1.02 * np.sin(x)

        def stiffness(self, x):
            return 1 + 1.02 * np.cos(x)

    limit = np.arccos(-1 / 1.02)
    _, failure = states_and_end(
        follow_pressures(Dented(), 1.0, 2.0, 2.5, 3.3, 6.0), TerminationKind.LIMIT_POINT
    )
    assert failure.state.x[0] == pytest.approx(limit, abs=1e-2)


# --- prestress ----------------------------------------------------------------------------------


class Prestressed(Linear):
    """Threads move x to the prestress fraction; a second unknown stays 0."""

    size, fraction = 2, 0.0

    def energy(self, x):
        return float((x[0] - self.fraction) ** 2 + self.sideways() * x[1] ** 2 / 2)

    def set_prestress_fraction(self, fraction):
        self.fraction = fraction

    def sideways(self):
        return 1.0

    def internal_force(self, x):
        return np.array([2.0 * (x[0] - self.fraction), self.sideways() * x[1]])

    def stiffness(self, x):
        return np.diag([2.0, self.sideways()])


class Column(Prestressed):
    """It buckles sideways beyond a fraction of 0.6."""

    def sideways(self):
        return 0.6 - self.fraction


class Bound(Prestressed):
    """There is no force beyond a fraction of 0.6."""

    def internal_force(self, x):
        return super().internal_force(x) if self.fraction <= 0.6 else np.full(2, np.nan)


@pytest.mark.parametrize(("model", "buckles"), [(Column, True), (Bound, False)])
def test_prestress_stops_where_no_stable_equilibrium_exists(model, buckles):
    with pytest.raises(PathEndError) as end:
        list(follow(model(), loading(), [through(1.0)]))
    assert end.value.kind is TerminationKind.THREADS_TOO_SHORT
    assert end.value.buckles == buckles
    assert 0.6 - 4 * MIN_STEP < end.value.prestress_fraction <= 0.6
    assert end.value.state.x[0] == pytest.approx(end.value.prestress_fraction, rel=1e-8)
    assert end.value.state.stable


def test_full_prestress_at_once_where_possible():
    model = Prestressed()
    first, *_ = follow(model, loading(), [through(1.0)])
    assert first.x[0] == model.fraction == 1.0
