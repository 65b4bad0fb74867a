"""Work along the equilibrium path: its sum, its absolute sum, and the energy gap."""

import math

import numpy as np
import pytest

from fem.continuation.loading import AXIAL, PRESSURE, Stage, dead_load, prescribed
from fem.continuation.newton import TOLERANCE
from fem.continuation.path import follow
from fem.results.equilibrium_checks import energy_gap
from tests.helpers.paths import follow_pressures
from tests.helpers.toys import Linear, Stiffening, loading, quadratic, through


def test_work_of_loading_and_unloading_is_zero():
    """The absolute work counts both, so that a gap relative to it is meaningful."""
    states = list(follow_pressures(Stiffening(), 2.0, 0.0))
    assert states[1].work == pytest.approx(0.75, rel=1e-3)  # x = 1 stores 1/2 + 1/4
    assert states[2].work == pytest.approx(0.0, abs=1e-3)
    assert states[2].absolute_work == pytest.approx(1.5, rel=2e-3)


def test_works_of_opposite_sign_do_not_cancel_in_the_absolute_work():
    """The end is pulled out; the works of pressure and force have opposite signs."""
    model = quadratic(seed=1)
    stages = [Stage(PRESSURE, dead_load(), to=2.0), Stage(AXIAL, prescribed(), to=-3.0)]
    *_, pressed, moved = follow(model, loading(), stages)
    change = moved.conjugates - pressed.conjugates
    # the pressure is constant, and the force grows linearly from zero
    works = np.array([2.0 * change[PRESSURE], moved.loads[AXIAL] / 2 * change[AXIAL]])
    assert works[0] * works[1] < 0
    assert moved.work - pressed.work == pytest.approx(works.sum(), rel=1e-7)
    assert moved.absolute_work - pressed.absolute_work == pytest.approx(
        np.abs(works).sum(), rel=1e-7
    )


def test_step_whose_work_is_not_stored_is_reduced():
    """A spring that is softer between the ends of a step than at both."""

    class Notched(Linear):
        """The force drops by a quarter around x = 1, over a tenth."""

        def notch(self, x):
            return np.exp(-((x - 1.0) ** 2) / 0.005)

        def energy(self, x):
            s = math.sqrt(0.005)
            area = math.sqrt(math.pi) / 2 * s * (math.erf((x[0] - 1) / s) + math.erf(1 / s))
            return float(x[0] ** 2 - 0.5 * area)

        def internal_force(self, x):
            return 2.0 * x - 0.5 * self.notch(x)

        def stiffness(self, x):
            return 2.0 + 0.5 * self.notch(x) * 2 * (x - 1) / 0.005

    states = list(follow(Notched(), loading(), [through(0.8, 1.3, device=prescribed())]))
    assert states[-1].x[0] == pytest.approx(1.3, abs=TOLERANCE)
    assert energy_gap(states[0], states[-1]) < 2e-3
    # one step from 0.8 to 1.3 would take two iterations at most, as the ends are linear
    assert states[-1].iterations > 2
