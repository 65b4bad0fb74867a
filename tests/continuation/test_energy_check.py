"""The account of the work along the equilibrium path: its net sum, its traffic, what is stored."""

import math

import numpy as np
import pytest

from fem.continuation.loading import AXIAL, PRESSURE, Stage, dead_load, prescribed
from fem.continuation.newton import TOLERANCE
from fem.continuation.path import follow
from fem.results.equilibrium_checks import energy_gap
from tests.helpers.toys import Linear, Stiffening, loading, quadratic, through
from tests.helpers.walks import pushed


def test_way_there_and_back_gives_the_work_back():
    """Traffic is counted both ways, so that a lost share of it still shows."""
    states = list(pushed(Stiffening(), 2.0, 0.0))
    assert states[1].work == pytest.approx(0.75, rel=1e-3)  # x = 1 stores 1/2 + 1/4
    assert states[2].work == pytest.approx(0.0, abs=1e-3)
    assert states[2].absolute_work == pytest.approx(1.5, rel=2e-3)


def test_works_of_opposite_sign_do_not_cancel_in_the_traffic():
    """The end is drawn out against the force; what the pressure gains is given back elsewhere."""
    model = quadratic(seed=1)
    stages = [Stage(PRESSURE, dead_load(), to=2.0), Stage(AXIAL, prescribed(), to=-3.0)]
    *_, pressed, moved = follow(model, loading(), stages)
    way = moved.conjugates - pressed.conjugates
    # the pressure is dead, and the force grows in proportion from nil
    works = np.array([2.0 * way[PRESSURE], moved.loads[AXIAL] / 2 * way[AXIAL]])
    assert works[0] * works[1] < 0
    assert moved.work - pressed.work == pytest.approx(works.sum(), rel=1e-7)
    assert moved.absolute_work - pressed.absolute_work == pytest.approx(
        np.abs(works).sum(), rel=1e-7
    )


def test_step_whose_work_is_not_stored_is_cut():
    """A spring that yields between the ends of a step, and is whole again at both."""

    class Notched(Linear):
        """It gives way by a quarter around x = 1, over a tenth."""

        def notch(self, x):
            return np.exp(-((x - 1.0) ** 2) / 0.005)

        def energy(self, x):
            s = math.sqrt(0.005)
            way = math.sqrt(math.pi) / 2 * s * (math.erf((x[0] - 1) / s) + math.erf(1 / s))
            return float(x[0] ** 2 - 0.5 * way)

        def internal_force(self, x):
            return 2.0 * x - 0.5 * self.notch(x)

        def stiffness(self, x):
            return 2.0 + 0.5 * self.notch(x) * 2 * (x - 1) / 0.005

    states = list(follow(Notched(), loading(), [through(0.8, 1.3, device=prescribed())]))
    assert states[-1].x[0] == pytest.approx(1.3, abs=TOLERANCE)
    assert energy_gap(states[0], states[-1]) < 2e-3
    # a step from 0.8 to 1.3 at once takes two iterations at most, for the ends are linear
    assert states[-1].iterations > 2
