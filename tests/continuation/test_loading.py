"""Loading devices and stages: constraints, and derivatives by differences."""

from dataclasses import replace

import numpy as np
import pytest

from fem.continuation.loading import (
    AXIAL,
    PRESSURE,
    TWIST,
    ClosedGas,
    Loading,
    Stage,
    dead_load,
    prescribed,
    spring,
)

DEVICES = {
    "dead": (dead_load(2.0), lambda load, conjugate: load),
    "prescribed": (prescribed(3.0), lambda load, conjugate: conjugate),
    "spring": (spring(5.0, 2.0), lambda load, conjugate: load + 5.0 * conjugate),
    "gas": (ClosedGas(9.0, 0.1, 4.0), lambda load, conjugate: (load + 0.1) * (conjugate + 4.0)),
}


@pytest.mark.parametrize("name", DEVICES)
def test_constraint_is_the_one_in_the_table(name):
    device, constraint = DEVICES[name]
    for load, conjugate in [(0.0, 0.0), (1.5, -2.0), (-0.3, 7.0)]:
        assert device.constraint(load, conjugate) == constraint(load, conjugate)


@pytest.mark.parametrize("name", DEVICES)
def test_derivatives_of_the_constraint(name):
    """Every constraint is linear in each argument: a difference is exact to round-off."""
    device, _ = DEVICES[name]
    load, conjugate = 1.5, -2.0
    value = device.constraint(load, conjugate)
    found = (
        device.constraint(load + 1, conjugate) - value,
        device.constraint(load, conjugate + 1) - value,
    )
    assert device.derivatives(load, conjugate) == pytest.approx(found, rel=1e-14, abs=1e-14)


@pytest.mark.parametrize("name", DEVICES)
def test_at_changes_only_the_value(name):
    device, _ = DEVICES[name]
    other = device.at(7.0)
    assert other.value == 7.0
    assert replace(other, value=device.value) == device


def test_gas_has_constant_pressure_times_volume():
    """Boyle's law, with absolute pressure and total volume."""
    gas = ClosedGas(0.1 * 4.0, ambient=0.1, line_volume=4.0)
    assert gas.constraint(0.0, 0.0) == gas.value
    squeezed = 0.1 * 4.0 / 2.5  # absolute pressure in a volume of 4 - 1.5
    assert gas.constraint(squeezed - 0.1, -1.5) == pytest.approx(gas.value, rel=1e-15)  # round-off


def loading(driven=PRESSURE):
    devices = dead_load(0.02), spring(2.0, 5.0), prescribed(0.3)
    return Loading(devices, np.array([0.1, 3.0, 20.0]), np.array([4e3, 6.0, 1.0]), driven)


def test_residuals_of_each_pair():
    residuals = loading().residuals(np.array([0.03, 4.0, 11.0]), np.array([5e3, 1.0, 0.2]))
    # worked by hand: 0.03 - 0.02, 4 + 2 - 5, 0.2 - 0.3
    assert residuals == pytest.approx([0.01, 1.0, -0.1], rel=1e-12)


def test_error_is_the_largest_scaled_residual():
    # 0.01/0.1, 1/(3 + 2 * 6), 0.1/1
    loads, conjugates = np.array([0.03, 4.0, 11.0]), np.array([5e3, 1.0, 0.2])
    assert loading().error(loads, conjugates) == pytest.approx(0.1, rel=1e-12)
    assert loading().error(loads, conjugates - [0, 0, 0.4]) == pytest.approx(0.5, rel=1e-12)
    more = loads + np.array([0, 30, 0])
    assert loading().error(more, conjugates) == pytest.approx(31 / 15, rel=1e-12)


def test_error_is_zero_where_the_constraints_hold():
    assert loading().error(np.array([0.02, 3.0, 99.0]), np.array([123.0, 1.0, 0.3])) == 0.0


@pytest.mark.parametrize("pair", [PRESSURE, AXIAL, TWIST])
def test_with_driven_changes_one_device_only(pair):
    driven = loading().with_driven(pair, prescribed(7.0))
    assert (driven.driven, driven.driven_device) == (pair, prescribed(7.0))
    others = [k for k in range(3) if k != pair]
    assert [driven.devices[k] for k in others] == [loading().devices[k] for k in others]
    moved = driven.at(8.0)
    assert moved.driven_device == prescribed(8.0)
    assert [moved.devices[k] for k in others] == [loading().devices[k] for k in others]
    loads, conjugates = np.array([1.0, 2.0, 3.0]), np.array([4.0, 5.0, 6.0])
    assert driven.constraint(loads, conjugates) == conjugates[pair]


def test_derivatives_of_all_pairs_are_in_their_order():
    f_l, f_g = loading().derivatives(np.ones(3), np.ones(3))
    assert f_l.tolist() == [1.0, 1.0, 0.0]
    assert f_g.tolist() == [0.0, 2.0, 1.0]


@pytest.mark.parametrize(
    ("device", "load_controlled"),
    [
        *((dead_load(), True), (spring(0.0), True)),
        *((spring(1.0), False), (prescribed(), False), (ClosedGas(1.0, 0.1, 1.0), False)),
    ],
)
def test_only_a_dead_load_is_load_control(device, load_controlled):
    assert loading().with_driven(PRESSURE, device).load_controlled is load_controlled


@pytest.mark.parametrize("steps", [1, 3, 7, 1000])
@pytest.mark.parametrize("start", [0.0, -0.4])
def test_stage_has_equal_steps_and_ends_exactly_at_its_value(start, steps):
    values = Stage(PRESSURE, dead_load(), steps, to=0.3).values(start)
    assert values[-1] == 0.3  # exactly
    assert np.diff([start, *values]) == pytest.approx([(0.3 - start) / steps] * steps, rel=1e-12)


@pytest.mark.parametrize("start", [0.0, 50.0])
def test_stage_changes_the_value_by_an_amount(start):
    assert Stage(PRESSURE, prescribed(), 4, by=2.0).values(start) == [
        start + change for change in (0.5, 1.0, 1.5, 2.0)
    ]
