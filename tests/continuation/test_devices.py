"""Paths driven by volume and gas, with the free end free, fixed, on springs and moved."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from fem.continuation.loading import (
    AXIAL,
    PRESSURE,
    TWIST,
    ClosedGas,
    Stage,
    dead_load,
    prescribed,
    spring,
)
from fem.continuation.newton import TOLERANCE
from fem.continuation.path import follow
from fem.continuation.termination import TerminationKind
from fem.results.equilibrium_checks import energy_gap
from tests.helpers.paths import states_and_end
from tests.helpers.toys import Softening, loading, quadratic


def gas_path(model, ambient, line_volume, product, steps):
    gas = ClosedGas(0.0, ambient, line_volume)
    return list(follow(model, loading(), [Stage(PRESSURE, gas, steps, by=product)]))


# --- volumes and gas ----------------------------------------------------------------------------


@pytest.mark.parametrize("steps", [3, 10])
def test_volume_control_passes_the_limit_point(steps):
    model = Softening()
    states = list(follow(model, loading(), [Stage(PRESSURE, prescribed(), steps, by=3.0)]))
    requested = [state for state in states if state.requested]
    assert [s.x[0] for s in requested] == pytest.approx(
        np.arange(1, steps + 1) * 3 / steps, abs=1e-7
    )
    for state in states:
        assert model.internal_force(state.x) == pytest.approx(state.pressure, abs=TOLERANCE)
        assert energy_gap(states[0], state) < 2e-3
        assert state.stable  # at fixed volume
    (limit,) = (state for state in states if state.limit)
    if steps == 3:  # a requested state is at the limit point
        assert limit.x[0] == pytest.approx(1.0, abs=1e-2)
    assert limit.pressure == pytest.approx(Softening.limit, abs=1e-4)
    assert states[0] is not limit is not states[-1]


def test_gas_passes_the_limit_point():
    """(P + 2)(x + 0.1) = 0.2 + n: with a small line volume the tube is stable beyond the limit."""
    model, states = Softening(), gas_path(Softening(), 2.0, 0.1, 6.0, 8)
    requested = [state for state in states if state.requested]
    for number, state in enumerate(requested, 1):
        amount = (state.pressure + 2.0) * (state.x[0] + 0.1)
        assert amount == pytest.approx(0.2 + 6.0 * number / 8, abs=1e-7)
    for state in states:
        assert model.internal_force(state.x) == pytest.approx(state.pressure, abs=TOLERANCE)
        assert energy_gap(states[0], state) < 2e-3
        # the gas is a spring of (P + p0)/(V + V0)
        slope = (state.pressure + 2.0) / (state.x[0] + 0.1)
        assert state.stable == (model.stiffness(state.x)[0] + slope > 0)
    (limit,) = (state for state in states if state.limit)
    assert limit.pressure == pytest.approx(Softening.limit, abs=1e-4)
    assert requested[-1].x[0] > 1.5


def test_gas_with_a_large_line_volume_loses_stability():
    """A large line volume is close to a dead pressure: the tube snaps beyond the limit point."""
    gas = ClosedGas(0.0, 2.0, 100.0)
    path = follow(Softening(), loading(), [Stage(PRESSURE, gas, 4, by=80.0)])
    _, failure = states_and_end(path, TerminationKind.STABILITY_LOST)

    # f has its extreme where stiffness + (P + p0)/(V + V0) vanishes
    def total_stiffness(x):
        load = x * math.exp(-x)
        return (1 - x) * math.exp(-x) + (load + 2) / (x + 100)

    end = brentq(total_stiffness, 1.0, 1.5)
    assert 1.0 < failure.state.x[0] <= end + 1e-4
    assert failure.state.x[0] == pytest.approx(end, abs=0.05)


# --- ends ---------------------------------------------------------------------------------------


def ends(model, *devices, load=1.0, steps=3):
    return list(follow(model, loading(*devices), [Stage(PRESSURE, dead_load(), steps, to=load)]))


END_DEVICES = {
    "free": (dead_load(), dead_load()),
    "fixed": (prescribed(), prescribed()),
    "one fixed": (dead_load(), prescribed()),
    "springs": (spring(3.0), spring(0.4)),
    "spring and fixed": (spring(3.0), prescribed()),
}


@pytest.mark.parametrize("name", END_DEVICES)
def test_ends_agree_with_the_dense_problem(name):
    """(K + sum k g g') x = G l, with prescribed displacements as constraints."""
    model = quadratic()
    devices = END_DEVICES[name]
    G = model.columns
    for state in ends(model, dead_load(), *devices, load=10.0):
        f_l, f_g = np.array([d.derivatives(0.0, 0.0) for d in (dead_load(), *devices)]).T
        dense = np.block([[model.matrix, -G], [f_g[:, None] * G.T, np.diag(f_l)]])
        right = np.concatenate([np.zeros(5), [state.pressure, 0.0, 0.0]])
        expected = np.linalg.solve(dense, right)
        found = np.concatenate([state.x, state.loads])
        assert found == pytest.approx(expected, abs=1e-7)
        assert state.conjugates == pytest.approx(G.T @ state.x, abs=1e-12)
        assert state.stable
    assert np.abs(expected[:5]).max() > 0.1


@pytest.mark.parametrize("quartic", [0.0, 2.0])
@pytest.mark.parametrize("name", END_DEVICES)
def test_energy_gap_with_any_ends(name, quartic):
    states = ends(quadratic(quartic=quartic), dead_load(), *END_DEVICES[name], load=4.0)
    assert states[-1].absolute_work > 0.1
    for state in states:
        # the rule is exact for linear springs, not for the quartic one
        assert energy_gap(states[0], state) < (2e-3 if quartic else 1e-8)


def test_free_end_is_moved_from_its_current_position():
    """First the pressure, then the end displacement, which counts from rest."""
    model = quadratic(quartic=1.0)
    stages = [Stage(PRESSURE, dead_load(), 2, to=2.0), Stage(AXIAL, prescribed(), 4, to=0.8)]
    states = list(follow(model, loading(), stages))
    pressed, moved = states[2], states[-1]
    assert pressed.loads == pytest.approx([2.0, 0.0, 0.0], abs=1e-12)
    start = pressed.conjugates[AXIAL]
    displacements = [state.conjugates[AXIAL] for state in states[2:]]
    assert displacements == pytest.approx(start + (0.8 - start) * np.arange(5) / 4, abs=1e-7)
    assert moved.loads[[PRESSURE, TWIST]] == pytest.approx([2.0, 0.0], abs=1e-7)
    assert abs(moved.loads[AXIAL]) > 0.1
    for state in states:
        assert energy_gap(states[0], state) < 2e-3
