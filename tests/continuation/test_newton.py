"""Newton's method, the bordered system and its inertia, compared with dense algebra."""

from itertools import pairwise

import numpy as np
import pytest

from fem.continuation.loading import (
    AXIAL,
    PRESSURE,
    TWIST,
    ClosedGas,
    dead_load,
    prescribed,
    spring,
)
from fem.continuation.newton import (
    MAX_ITERATIONS,
    TOLERANCE,
    BorderedSystem,
    DivergedError,
    evaluate,
    solve_equilibrium,
)
from tests.helpers.toys import Linear, Quadratic, Softening, Stiffening, loading, quadratic

GAS = ClosedGas(3.0, ambient=2.0, line_volume=1.5)
DEVICES = {
    "all dead": (dead_load(1.0), dead_load(-2.0), dead_load(0.5)),
    "fixed volume": (prescribed(0.7), dead_load(1.0), dead_load(-1.0)),
    "fixed end": (dead_load(1.0), prescribed(0.2), prescribed(-0.4)),
    "all fixed": (prescribed(0.7), prescribed(0.2), prescribed(-0.4)),
    "springs": (dead_load(1.0), spring(3.0, 1.0), spring(0.2, -1.0)),
    "gas": (GAS.at(7.5), dead_load(), spring(0.5)),
    "gas, fixed, spring": (GAS.at(7.5), prescribed(0.1), spring(1.5, 0.3)),
}


def dead_pressure(load):
    """Return a loading by a dead pressure, and the loads that satisfy it."""
    return loading(dead_load(load)), np.array([load, 0.0, 0.0])


# --- the bordered system ------------------------------------------------------------------------


@pytest.mark.parametrize("name", DEVICES)
def test_bordered_solution_agrees_with_the_dense_system(name):
    model, given = quadratic(quartic=0.7), loading(*DEVICES[name])
    random = np.random.default_rng(1)
    x, loads = random.normal(size=5), random.normal(size=3)
    trial = evaluate(model, given, x, loads)
    right, closing = random.normal(size=5), random.normal(size=3)
    step, change = BorderedSystem(model, given, trial).solve(right, closing)
    f_l, f_g = given.derivatives(loads, model.conjugate_displacements(x))
    G = model.columns
    dense = np.block([[model.stiffness(x), -G], [f_g[:, None] * G.T, np.diag(f_l)]])
    expected = np.linalg.solve(dense, np.concatenate([right, closing]))
    assert np.concatenate([step, change]) == pytest.approx(expected, rel=1e-10, abs=1e-10)


def test_singular_bordered_system_is_an_arithmetic_error():
    """A conjugate displacement that does not depend on x cannot be prescribed."""
    model = Quadratic(np.eye(3), np.array([[1.0, 0, 0], [0, 0, 0], [0, 0, 0]]))
    given = loading(dead_load(), prescribed(0.5))
    system = BorderedSystem(model, given, evaluate(model, given, np.zeros(3), np.zeros(3)))
    with pytest.raises(ArithmeticError):
        system.solve(np.zeros(3), np.ones(3))


# --- eq. (2): negative eigenvalues --------------------------------------------------------------


def indefinite(random):
    root = random.normal(size=(6, 6))
    return Quadratic((root + root.T) / 2, random.normal(size=(6, 3)))


def count(model, actual, control=None):
    loads = x = np.zeros(6)
    trial = evaluate(model, control or actual, x, loads[:3])
    return BorderedSystem(model, control or actual, trial).n_negative_eigenvalues(actual, trial)


@pytest.mark.parametrize("pairs", [(), (0,), (1,), (0, 2), (0, 1, 2)])
def test_springs_are_counted_as_terms_of_the_stiffness(pairs):
    random, lifted = np.random.default_rng(2), 0
    for _ in range(40):
        model, rates = indefinite(random), 10.0 ** random.uniform(-2, 3, 3)
        devices = [spring(rates[k]) if k in pairs else dead_load() for k in range(3)]
        G, used = model.columns, np.isin(range(3), pairs) * rates
        values = np.linalg.eigvalsh(model.matrix + G @ np.diag(used) @ G.T)
        assert np.abs(values).min() > 1e-6  # the signs are certain
        assert count(model, loading(*devices)) == (values < 0).sum()
        lifted += (np.linalg.eigvalsh(model.matrix) < 0).sum() - (values < 0).sum()
    assert lifted > 0 or not pairs


@pytest.mark.parametrize("pairs", [(0,), (1, 2), (0, 1, 2)])
def test_prescribed_displacements_are_counted_as_constraints(pairs):
    """The reference is the stiffness on motions that do not change these displacements."""
    random = np.random.default_rng(3)
    for _ in range(40):
        model = indefinite(random)
        devices = [prescribed() if k in pairs else dead_load() for k in range(3)]
        basis, _ = np.linalg.qr(model.columns[:, list(pairs)], mode="complete")
        free = basis[:, len(pairs) :]
        values = np.linalg.eigvalsh(free.T @ model.matrix @ free)
        assert np.abs(values).min() > 1e-6
        assert count(model, loading(*devices)) == (values < 0).sum()


def test_gas_is_counted_as_a_spring():
    """(P + p0)(V + V0) constant: k = p0/V0 at rest."""
    random = np.random.default_rng(4)
    counts = []
    for _ in range(40):
        model = indefinite(random)
        G = model.columns[:, :1]
        values = np.linalg.eigvalsh(model.matrix + GAS.ambient / GAS.line_volume * G @ G.T)
        counts.append((count(model, loading(GAS)), (values < 0).sum()))
        counts[-1] += (count(model, loading()),)
    assert all(found == expected for found, expected, _ in counts)
    assert any(found != dead_load for found, _, dead_load in counts)


def test_stability_does_not_depend_on_the_control_of_the_step():
    """It is that of the devices of the loading."""
    random = np.random.default_rng(5)
    for _ in range(20):
        model = indefinite(random)
        actual, control = loading(dead_load(), spring(2.0)), loading(prescribed(), spring(2.0))
        assert count(model, actual, control) == count(model, actual)


# --- equilibrium --------------------------------------------------------------------------------


@pytest.mark.parametrize("name", DEVICES)
def test_equilibrium_satisfies_model_and_constraints(name):
    model, given = quadratic(quartic=0.3), loading(*DEVICES[name])
    trial, _ = solve_equilibrium(model, given, np.zeros(5), np.zeros(3))
    residual = model.internal_force(trial.x) - model.columns @ trial.loads
    assert np.abs(residual).max() <= TOLERANCE
    conjugates = model.conjugate_displacements(trial.x)
    sizes = np.abs(given.derivatives(trial.loads, conjugates)).sum(axis=0)  # all scales are 1
    assert np.abs(given.residuals(trial.loads, conjugates) / sizes).max() <= TOLERANCE
    assert np.abs(trial.x).max() > 0.1


@pytest.mark.parametrize("name", ["all dead", "fixed end", "all fixed", "springs"])
def test_linear_problem_takes_one_step(name):
    model, given = quadratic(), loading(*DEVICES[name])
    trial, iterations = solve_equilibrium(model, given, np.zeros(5), np.zeros(3))
    G = model.columns
    f_l, f_g = given.derivatives(np.zeros(3), np.zeros(3))
    dense = np.block([[model.matrix, -G], [f_g[:, None] * G.T, np.diag(f_l)]])
    values = [device.value for device in given.devices]
    expected = np.linalg.solve(dense, np.concatenate([np.zeros(5), values]))
    assert iterations == 1
    assert np.concatenate([trial.x, trial.loads]) == pytest.approx(expected, rel=1e-10, abs=1e-10)


def test_equilibrium_as_a_guess_takes_no_iteration():
    given, loads = dead_pressure(2.0)
    trial, iterations = solve_equilibrium(Linear(), given, np.ones(1), loads)
    assert (trial.x, iterations) == (1.0, 0)


def test_newton_converges_quadratically(monkeypatch):
    monkeypatch.setattr("fem.continuation.newton.REUSE_RATIO", 0.0)
    monkeypatch.setattr("fem.continuation.newton.LINE_SEARCH_RATIO", np.inf)  # full steps
    model, (given, loads) = Stiffening(), dead_pressure(2.0)
    trial, iterations = solve_equilibrium(model, given, np.array([1.2]), loads)
    assert trial.x == pytest.approx(1.0, abs=TOLERANCE / 4)  # the stiffness there is 4
    e = [error for error in model.errors if error > 1e-14]  # beyond is round-off
    assert iterations == len(model.errors) - 1 == 4
    # |e_next| = f''/(2 f'^2) e^2 near the end: 6/(2 * 16) = 0.19, and less before
    assert all(after <= 0.2 * before**2 for before, after in pairwise(e))


def test_gas_converges_quadratically(monkeypatch):
    """Its constraint is a product of the two unknowns."""
    monkeypatch.setattr("fem.continuation.newton.REUSE_RATIO", 0.0)
    monkeypatch.setattr("fem.continuation.newton.LINE_SEARCH_RATIO", np.inf)  # full steps
    errors = []

    class WithoutError(Stiffening):
        def error(self, residual):
            return 0.0

    given = loading(ClosedGas(12.0, ambient=1.0, line_volume=1.0))
    monkeypatch.setattr(
        "fem.continuation.loading.Loading.error",
        lambda self, loads, conjugates: (
            errors.append(abs(self.residuals(loads, conjugates)[0])) or errors[-1]
        ),
    )
    trial, _ = solve_equilibrium(WithoutError(), given, np.ones(1), np.full(3, 2.0) * [1, 0, 0])
    assert (trial.loads[0] + 1) * (trial.x[0] + 1) == pytest.approx(12.0, abs=1e-7)
    e = [error for error in errors if error > 1e-13]
    assert len(e) >= 4
    assert all(after <= before**2 for before, after in pairwise(e))


def test_tangent_is_used_again_while_the_error_falls_fast():
    model, (given, loads) = Stiffening(), dead_pressure(2.0)
    trial, iterations = solve_equilibrium(model, given, np.array([1.01]), loads)
    assert trial.x == pytest.approx(1.0, abs=TOLERANCE / 4)
    assert 0 < model.tangents < iterations


def test_wrong_tangent_converges_slowly(monkeypatch):
    """With an error of 10 % in the tangent, convergence is not quadratic."""
    monkeypatch.setattr("fem.continuation.newton.LINE_SEARCH_RATIO", np.inf)  # full steps

    class Wrong(Stiffening):
        def stiffness(self, x):
            return 1.1 * super().stiffness(x)

    given, loads = dead_pressure(2.0)
    _, iterations = solve_equilibrium(Wrong(), given, np.array([1.2]), loads)
    assert iterations > 6


def test_line_search_limits_a_step_that_overshoots():
    """From 3, full steps on arctan(x) = 0 would go to -9.5, 124, -24000 and diverge."""

    class Arctan(Linear):
        def internal_force(self, x):
            return np.arctan(x)

        def stiffness(self, x):
            return 1 / (1 + x**2)

    given, loads = dead_pressure(0.0)
    trial, iterations = solve_equilibrium(Arctan(), given, np.full(1, 3.0), loads)
    assert abs(trial.x[0]) <= TOLERANCE
    assert iterations < 10


@pytest.mark.parametrize("force", [np.nan, np.inf])
def test_residual_that_is_not_finite_stops_at_once(force):
    class Broken(Linear):
        def internal_force(self, x):
            return np.full(1, force)

    given, loads = dead_pressure(1.0)
    with pytest.raises(DivergedError) as failure:
        solve_equilibrium(Broken(), given, np.zeros(1), loads)
    assert failure.value.iterations == 0


def test_conjugate_that_is_not_finite_stops_at_once():
    class Broken(Linear):
        def conjugate_displacements(self, x):
            return np.array([np.nan, 0.0, 0.0])

    with pytest.raises(DivergedError) as failure:
        solve_equilibrium(Broken(), loading(dead_load()), np.zeros(1), np.zeros(3))
    assert failure.value.iterations == 0


def test_no_equilibrium_stops_after_some_iterations():
    model, (given, loads) = Softening(), dead_pressure(1.0)
    with pytest.raises(DivergedError) as failure:
        solve_equilibrium(model, given, np.zeros(1), loads)
    assert failure.value.iterations == model.tangents <= MAX_ITERATIONS


@pytest.mark.parametrize("pair", [PRESSURE, AXIAL, TWIST])
def test_error_of_a_trial(pair):
    model, devices = quadratic(), [dead_load(), dead_load(), dead_load()]
    devices[pair] = dead_load(3.0)
    trial = evaluate(model, loading(*devices), np.zeros(5), np.zeros(3))
    assert trial.error == 3.0
    trial = evaluate(model, loading(*devices), np.zeros(5), 3.0 * np.eye(3)[pair])
    assert trial.error == pytest.approx(np.abs(3 * model.columns[:, pair]).max(), rel=1e-14)
