"""The work of a step: exact where the curve is what the rule takes it for."""

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


def curve(load, start, end, pace=1.0, rest=False):
    """Return the ends of a step along l(g), a polynomial of the pressure by the volume."""
    nothing = np.zeros(2)

    def at(place, rest):
        slope = pace * np.array([load.deriv()(place), 1.0])
        return End(
            np.append(load(place), nothing),
            np.append(place, nothing),
            np.append(slope[0], nothing),
            np.append(slope[1], nothing),
            rest,
        )

    return at(start, rest), at(end, False)


def exact(load, start, end):
    return load.integ()(end) - load.integ()(start)


PARABOLAS = [[1.0, 0.0, 0.5], [0.0, 2.0, -0.7], [3.0, -1.0, 0.2]]


@pytest.mark.parametrize("rest", [False, True])
@pytest.mark.parametrize("coefficients", PARABOLAS)
def test_parabolas_are_exact(coefficients, rest):
    load = Polynomial(coefficients)
    for way in (1.3, -0.4):  # forwards and back
        work = step_work(*curve(load, 0.2, 0.2 + way, rest=rest), SCALE)
        assert work == pytest.approx([exact(load, 0.2, 0.2 + way), 0, 0], rel=ROUND_OFF)


@pytest.mark.parametrize("cubic", [0.02, -0.05, 0.1])
def test_cubics_are_exact(cubic):
    """All of a cubic is taken in while it is nearer to a parabola than the inverse cubic."""
    load = Polynomial([1.0, 2.0, -0.9, cubic])
    work = step_work(*curve(load, 0.0, 0.8), SCALE)
    assert work[0] == pytest.approx(exact(load, 0.0, 0.8), rel=ROUND_OFF)


def inverse_ends(place, start, end, rest=False):
    """Return the ends of a step along g(l), a polynomial of the volume by the pressure."""
    ends = curve(place, start, end)
    for one in ends:
        one.loads, one.conjugates = one.conjugates, one.loads
        one.load_slope, one.conjugate_slope = one.conjugate_slope, one.load_slope
    ends[0].rest = rest
    return ends


@pytest.mark.parametrize("coefficients", [[0.0, 1.0, 0.5], [1.0, 3.0, -0.9]])
def test_inverse_parabolas_are_exact(coefficients):
    """As where threads lock the volume: the load has an unbounded slope by the volume."""
    place = Polynomial(coefficients)
    start, end = inverse_ends(place, 0.0, 1.5)
    with_load_parameter = place.integ()
    expected = 1.5 * place(1.5) - (with_load_parameter(1.5) - with_load_parameter(0.0))  # by parts
    assert step_work(start, end, SCALE)[0] == pytest.approx(expected, rel=ROUND_OFF)


def test_pace_of_the_parameter_does_not_matter():
    load = Polynomial([1.0, 2.0, -0.9, 0.1])
    once, again = (step_work(*curve(load, 0.0, 0.8, pace), SCALE) for pace in (1.0, -37.0))
    assert again == pytest.approx(once, rel=ROUND_OFF)


@pytest.mark.parametrize("rate", [3.0, 0.0, -2.0])
def test_springs_and_dead_loads_are_exact_in_each_pair(rate):
    """A force of 5 beside a spring of the rate; a dead load's slope is nil to the last bit."""

    def at(place):
        load = np.array([0.3, 5.0, -1.0]) + rate * place
        return End(load, place, rate * np.array([1.0, 2.0, -0.5]), np.array([1.0, 2.0, -0.5]))

    start, way = np.array([0.5, -1.0, 0.2]), 0.7 * np.array([1.0, 2.0, -0.5])
    expected = (at(start).loads + at(start + way).loads) / 2 * way
    assert step_work(at(start), at(start + way), SCALE) == pytest.approx(expected, rel=ROUND_OFF)


def test_dead_load_on_an_end_that_turns_back_is_exact():
    """The end may stand still where the step begins."""
    start = End(np.full(3, 4.0), np.zeros(3), np.zeros(3), np.zeros(3))
    end = End(np.full(3, 4.0), np.array([1.0, -2.0, 3.0]), np.zeros(3), np.ones(3))
    assert step_work(start, end, SCALE).tolist() == [4.0, -8.0, 12.0]


def test_held_end_takes_no_work():
    """Round-off in its place is no way."""
    start = End(np.zeros(3), np.full(3, 0.3), np.ones(3), np.zeros(3))
    end = End(np.full(3, 1e6), np.full(3, 0.3 + 1e-15), np.ones(3), np.zeros(3))
    assert step_work(start, end, SCALE).tolist() == [0.0, 0.0, 0.0]


def test_first_slope_at_rest_is_not_trusted_where_it_does_not_fit():
    """A load that rises as the place squared, but for a hair at the start: threads in their toe."""
    load = Polynomial([0.0, 0.0, 3.0])
    start, end = curve(load, 0.0, 1.0, rest=True)
    start.load_slope[0] = 50.0  # the slope over the hair
    assert step_work(start, end, SCALE)[0] == pytest.approx(exact(load, 0, 1), rel=ROUND_OFF)
    start.rest = False
    assert abs(step_work(start, end, SCALE)[0] - exact(load, 0, 1)) > 0.5


def test_first_slope_at_rest_is_used_where_it_fits():
    """A bare tube's curve is smooth from rest on: nothing of its cubic is thrown away."""
    load = Polynomial([0.0, 1.0, -0.3, -0.05])
    start, end = curve(load, 0.0, 1.0, rest=True)
    chord = load(1.0)
    cubic = (load.deriv()(0.0) + load.deriv()(1.0)) / chord - 2
    assert 0 < abs(cubic) < NEAR_PARABOLA
    assert step_work(start, end, SCALE)[0] == pytest.approx(exact(load, 0, 1), rel=ROUND_OFF)
