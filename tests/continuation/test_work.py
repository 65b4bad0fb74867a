"""The work of a step is exact for the curves that the rule assumes."""

from dataclasses import dataclass, field

import numpy as np
import pytest
from numpy.polynomial import Polynomial

from fem.continuation.work import NEAR_PARABOLA, step_work

ROUND_OFF = 1e-13
SCALE = np.ones(3)


@dataclass
class End:
    """One end of a step."""

    loads: np.ndarray
    conjugates: np.ndarray
    load_slope: np.ndarray
    conjugate_slope: np.ndarray
    rest: bool = field(default=False)


def curve(load, start, end, rate=1.0, rest=False):
    """Return the ends of a step along l(g), a polynomial of the pressure by the volume."""
    zeros = np.zeros(2)

    def at(conjugate, rest):
        slope = rate * np.array([load.deriv()(conjugate), 1.0])
        return End(
            np.append(load(conjugate), zeros),
            np.append(conjugate, zeros),
            np.append(slope[0], zeros),
            np.append(slope[1], zeros),
            rest,
        )

    return at(start, rest), at(end, False)


def exact(load, start, end):
    return load.integ()(end) - load.integ()(start)


PARABOLAS = [[1.0, 0.0, 0.5], [0.0, 2.0, -0.7], [3.0, -1.0, 0.2]]


@pytest.mark.parametrize("rest", [False, True])
@pytest.mark.parametrize("coefficients", PARABOLAS)
def test_work_along_parabolas_is_exact(coefficients, rest):
    load = Polynomial(coefficients)
    for change in (1.3, -0.4):  # loading and unloading
        work = step_work(*curve(load, 0.2, 0.2 + change, rest=rest), SCALE)
        assert work == pytest.approx([exact(load, 0.2, 0.2 + change), 0, 0], rel=ROUND_OFF)


@pytest.mark.parametrize("cubic", [0.02, -0.05, 0.1])
def test_work_along_cubics_is_exact(cubic):
    """l(g) is used while it is closer to a parabola than g(l)."""
    load = Polynomial([1.0, 2.0, -0.9, cubic])
    work = step_work(*curve(load, 0.0, 0.8), SCALE)
    assert work[0] == pytest.approx(exact(load, 0.0, 0.8), rel=ROUND_OFF)


def inverse_ends(conjugate, start, end, rest=False):
    """Return the ends of a step along g(l), a polynomial of the volume by the pressure."""
    ends = curve(conjugate, start, end)
    for one in ends:
        one.loads, one.conjugates = one.conjugates, one.loads
        one.load_slope, one.conjugate_slope = one.conjugate_slope, one.load_slope
    ends[0].rest = rest
    return ends


@pytest.mark.parametrize("coefficients", [[0.0, 1.0, 0.5], [1.0, 3.0, -0.9]])
def test_work_along_inverse_parabolas_is_exact(coefficients):
    """As where threads lock the volume, with an unbounded derivative of the load."""
    conjugate = Polynomial(coefficients)
    start, end = inverse_ends(conjugate, 0.0, 1.5)
    integral = conjugate.integ()
    expected = 1.5 * conjugate(1.5) - (integral(1.5) - integral(0.0))  # by parts
    assert step_work(start, end, SCALE)[0] == pytest.approx(expected, rel=ROUND_OFF)


def test_work_does_not_depend_on_the_parametrisation():
    load = Polynomial([1.0, 2.0, -0.9, 0.1])
    once, again = (step_work(*curve(load, 0.0, 0.8, rate), SCALE) for rate in (1.0, -37.0))
    assert again == pytest.approx(once, rel=ROUND_OFF)


@pytest.mark.parametrize("rate", [3.0, 0.0, -2.0])
def test_work_of_springs_and_dead_loads_is_exact_in_each_pair(rate):
    """A force of 5 and a spring of this rate; the slope of a dead load is exactly zero."""

    def at(conjugate):
        load = np.array([0.3, 5.0, -1.0]) + rate * conjugate
        return End(load, conjugate, rate * np.array([1.0, 2.0, -0.5]), np.array([1.0, 2.0, -0.5]))

    start, way = np.array([0.5, -1.0, 0.2]), 0.7 * np.array([1.0, 2.0, -0.5])
    expected = (at(start).loads + at(start + way).loads) / 2 * way
    assert step_work(at(start), at(start + way), SCALE) == pytest.approx(expected, rel=ROUND_OFF)


def test_work_of_a_dead_load_is_exact_where_the_step_starts_with_zero_rate():
    start = End(np.full(3, 4.0), np.zeros(3), np.zeros(3), np.zeros(3))
    end = End(np.full(3, 4.0), np.array([1.0, -2.0, 3.0]), np.zeros(3), np.ones(3))
    assert step_work(start, end, SCALE).tolist() == [4.0, -8.0, 12.0]


def test_work_on_a_fixed_end_is_zero():
    """Round-off of the displacement is ignored."""
    start = End(np.zeros(3), np.full(3, 0.3), np.ones(3), np.zeros(3))
    end = End(np.full(3, 1e6), np.full(3, 0.3 + 1e-15), np.ones(3), np.zeros(3))
    assert step_work(start, end, SCALE).tolist() == [0.0, 0.0, 0.0]


def test_slope_at_rest_is_ignored_where_the_cubic_is_far_from_a_parabola():
    """The load is quadratic, except for a tiny range at rest: threads in their toe region."""
    load = Polynomial([0.0, 0.0, 3.0])
    start, end = curve(load, 0.0, 1.0, rest=True)
    start.load_slope[0] = 50.0  # the slope in the tiny range
    assert step_work(start, end, SCALE)[0] == pytest.approx(exact(load, 0, 1), rel=ROUND_OFF)
    start.rest = False
    assert abs(step_work(start, end, SCALE)[0] - exact(load, 0, 1)) > 0.5


def test_slope_at_rest_is_used_where_the_cubic_is_close_to_a_parabola():
    """The curve of a bare tube is smooth from rest on, so the full cubic is used."""
    load = Polynomial([0.0, 1.0, -0.3, -0.05])
    start, end = curve(load, 0.0, 1.0, rest=True)
    chord = load(1.0)
    cubic = (load.deriv()(0.0) + load.deriv()(1.0)) / chord - 2
    assert 0 < abs(cubic) < NEAR_PARABOLA
    assert step_work(start, end, SCALE)[0] == pytest.approx(exact(load, 0, 1), rel=ROUND_OFF)
