"""States of a path: interpolation and prediction by the cubic through two of them."""

import numpy as np
import pytest
from numpy.polynomial import Polynomial
from numpy.polynomial.polynomial import polyder, polyval
from scipy.interpolate import CubicHermiteSpline

from fem.continuation.loading import AXIAL, PRESSURE, TWIST
from fem.continuation.state import (
    State,
    hermite,
    parameter_at_load,
    parameter_at_load_extreme,
    predict,
)
from fem.continuation.termination import PathEndError, TerminationKind

ROUND_OFF = 1e-12


def at(parameter, load, x=None, pair=PRESSURE, rest=False):
    """Return the state at `parameter` of a path whose load and x are polynomials of it."""
    x = x or [Polynomial([0.0])]
    unit = np.eye(3)[pair]
    return State(
        x=np.array([part(parameter) for part in x]),
        loads=load(parameter) * unit,
        conjugates=parameter * unit,
        parameter=parameter,
        slope=np.array([part.deriv()(parameter) for part in x]),
        load_slope=load.deriv()(parameter) * unit,
        conjugate_slope=unit,
        stable=True,
        energy=0.0,
        rest=rest,
    )


RISING = Polynomial([0.5, 1.0, 0.3, 0.1])
HUMP = Polynomial([0.0, 3.0, -0.5, -0.7])


@pytest.mark.parametrize("ends", [(0.0, 2.0), (2.0, 0.0), (-1.0, 3.0)])
@pytest.mark.parametrize("pair", [PRESSURE, AXIAL, TWIST])
def test_load_is_found_on_the_cubic(pair, ends):
    start, end = (at(parameter, RISING, pair=pair) for parameter in ends)
    for parameter in (0.3, 1.1, 1.7):
        found = parameter_at_load(start, end, pair, RISING(parameter))
        assert found == pytest.approx(parameter, rel=ROUND_OFF)


@pytest.mark.parametrize("ends", [(0.0, 2.0), (2.0, 0.0), (0.5, 1.2)])
def test_maximum_is_found_on_the_cubic(ends):
    start, end = (at(parameter, HUMP) for parameter in ends)
    top = max(HUMP.deriv().roots())
    assert parameter_at_load_extreme(start, end, PRESSURE) == pytest.approx(top, rel=ROUND_OFF)


def test_parameter_of_a_load_outside_the_range_is_clipped():
    start, end = at(0.0, RISING), at(2.0, RISING)
    for load in (-100.0, 100.0):
        assert 0.0 <= parameter_at_load(start, end, PRESSURE, load) <= 2.0


CUBICS = [Polynomial([1.0, -2.0, 0.5, 0.2]), Polynomial([0.0, 1.0, 0.0, -1.0])]


@pytest.mark.parametrize("parameter", [1.5, 0.4, -2.0])
def test_cubic_through_two_states_is_predicted(parameter):
    x, loads = predict(at(1.0, RISING, CUBICS), at(0.2, RISING, CUBICS), parameter)
    assert x == pytest.approx([part(parameter) for part in CUBICS], rel=ROUND_OFF, abs=ROUND_OFF)
    assert loads == pytest.approx([RISING(parameter), 0, 0], rel=ROUND_OFF)


@pytest.mark.parametrize("before", [None, at(0.0, RISING, CUBICS, rest=True)])
def test_prediction_from_one_state_is_linear(before):
    """The state of rest is not used: threads tighten at once from there."""
    x, loads = predict(at(1.0, RISING, CUBICS), before, 1.5)
    assert x == pytest.approx([p(1.0) + 0.5 * p.deriv()(1.0) for p in CUBICS], rel=ROUND_OFF)
    assert loads[0] == pytest.approx(RISING(1.0) + 0.5 * RISING.deriv()(1.0), rel=ROUND_OFF)


def test_prediction_from_rest_is_rest():
    rest = at(0.0, RISING, CUBICS, rest=True)
    x, loads = predict(rest, None, 1.0)
    assert np.array_equal(x, rest.x)
    assert np.array_equal(loads, rest.loads)


def test_path_parameter_may_be_load_or_conjugate():
    state = at(0.7, RISING, CUBICS)
    slope = RISING.deriv()(0.7)
    with_load_parameter, by_place = (
        state.with_load_parameter(PRESSURE),
        state.with_load_parameter(PRESSURE).with_conjugate_parameter(PRESSURE),
    )
    assert with_load_parameter.parameter == RISING(0.7)
    assert with_load_parameter.slope == pytest.approx(state.slope / slope, rel=ROUND_OFF)
    assert with_load_parameter.load_slope[PRESSURE] == pytest.approx(1.0, rel=ROUND_OFF)
    assert with_load_parameter.conjugate_slope[PRESSURE] == pytest.approx(1 / slope, rel=ROUND_OFF)
    assert by_place.parameter == 0.7
    assert by_place.slope == pytest.approx(state.slope, rel=ROUND_OFF)
    for one in (state, with_load_parameter, by_place):
        assert one.stiffness(PRESSURE) == pytest.approx(slope, rel=ROUND_OFF)


def test_error_at_the_end_of_a_path_contains_its_state():
    state = at(0.7, RISING)
    failure = PathEndError(TerminationKind.LIMIT_POINT, state)
    assert (failure.kind, failure.state) == ("limit_point", state)
    assert str(state.pressure) in str(failure)


def test_cubic_agrees_with_scipy():
    values, slopes = np.random.default_rng(3).normal(size=(2, 2, 5))
    cubic, scipy_cubic = hermite(values, slopes), CubicHermiteSpline([0, 1], values, slopes)
    for t in (-0.5, 0.0, 0.3, 1.0, 2.0):  # also outside, as the predictor extrapolates
        # round-off of some products of numbers of order 1 to 10
        np.testing.assert_allclose(polyval(t, cubic), scipy_cubic(t), atol=1e-13)
        np.testing.assert_allclose(polyval(t, polyder(cubic)), scipy_cubic(t, 1), atol=1e-13)
