"""The batch path with a model other than a tube: more unknowns, volume nonlinear in them.

The unknowns are s and the vector u. V = s + s^2/2 + c.u and E = k (1 - (1 + s) exp(-s)) + u.u/2, so
in equilibrium u = P c and P = k s exp(-s)/(1 + s), with its maximum where s^2 + s = 1.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.testing import assert_allclose

from fem.continuation.batch.model import Iteration
from fem.continuation.batch.paths import follow
from fem.continuation.batch.states import BEYOND, LAST, LIMIT, REQUESTED, REST
from fem.continuation.stepper import MAX_STRETCH

GOLDEN = (np.sqrt(5) - 1) / 2


def pressure_at(k, s):
    return k * s * np.exp(-s) / (1 + s)


@dataclass
class Toy:
    """n bodies with k, shape (n,), and c, shape (unknowns - 1, n)."""

    k: np.ndarray
    c: np.ndarray
    strain: float = 1.0
    """Wall stretch less 1, over s."""

    @property
    def pressure_scale(self):
        return self.k

    def __len__(self):
        return len(self.k)

    def take(self, index):
        return Toy(self.k[index], self.c[:, index], self.strain)

    def rest(self):
        return np.zeros((1 + len(self.c), len(self)))

    def volume(self, x):
        return x[0] + x[0] ** 2 / 2 + (self.c * x[1:]).sum(0)

    def energy(self, x):
        return self.k * (1 - (1 + x[0]) * np.exp(-x[0])) + (x[1:] ** 2).sum(0) / 2

    def end_energy(self, x):
        return np.zeros((2, x.shape[1]))

    def wall_stretch(self, x):
        return 1 + self.strain * x[0]

    def iterate(self, x):
        (m, n), s = x.shape, x[0]
        force = np.concatenate([[self.k * s * np.exp(-s)], x[1:]])
        load_vector = np.concatenate([[1 + s], self.c])
        pressure = (force * load_vector).sum(0) / (load_vector**2).sum(0)
        bordered = np.zeros((n, m + 1, m + 1))
        bordered[:, range(m), range(m)] = 1.0
        bordered[:, 0, 0] = self.k * (1 - s) * np.exp(-s) - pressure
        bordered[:, m, :m] = bordered[:, :m, m] = -load_vector.T
        right = np.zeros((n, m + 1, 2))
        right[:, :m, 0], right[:, m, 1] = -force.T, -1.0
        found = np.linalg.solve(bordered, right)
        step, slope = found[:, :m, 0].T, found[:, :m, 1].T
        negative = np.linalg.eigvalsh(bordered) < 0
        return Iteration(
            error=np.abs(force - pressure * load_vector).max(0),
            step=step,
            volume=self.volume(x),
            slope=slope,
            stiffness=found[:, m, 1],
            pressure=found[:, m, 0],
            pressure_weight=np.ones(n),
            stable_at_fixed_volume=negative.sum(1) == 1,
            stable=(negative.sum(1) == 1) & (found[:, m, 1] > 0),
        )


def toy(unknowns, n=4, **changes):
    rng = np.random.default_rng(unknowns)
    return Toy(np.linspace(0.5, 2.0, n), rng.normal(size=(unknowns - 1, n)), **changes)


@pytest.mark.parametrize("unknowns", [2, 6])
def test_states_at_requested_pressures(unknowns):
    model = toy(unknowns)
    pressures = np.outer(np.linspace(0.1, 0.95, 5), pressure_at(model.k, GOLDEN))
    paths = follow(model, pressures)
    states = paths.states
    for tube in range(4):
        own = states.take((states.tube == tube) & (states.role == REQUESTED))
        assert_allclose(own.pressure, pressures[:, tube], rtol=1e-12)
        # the error of a state is about the square of the last one that was evaluated
        assert_allclose(pressure_at(model.k[tube], own.x[0]), pressures[:, tube], rtol=1e-9)
        assert_allclose(own.x[1:], np.outer(model.c[:, tube], own.pressure), rtol=1e-9)
        assert own.stable.all()
    known = model.take(states.tube)
    assert_allclose(states.volume, known.volume(states.x), rtol=1e-9)
    assert (paths.work.gap(states.energy) < 1e-3).all()


@pytest.mark.parametrize("unknowns", [2, 6])
def test_limit_point_and_states_beyond(unknowns):
    model = toy(unknowns)
    top = pressure_at(model.k, GOLDEN)
    states = follow(model, np.outer([0.3, 0.6, 1.1], top)).states
    limits = states.take(states.role == LIMIT)
    assert limits.tube.tolist() == [0, 1, 2, 3]
    assert_allclose(limits.pressure, top, rtol=1e-12)
    assert_allclose(limits.x[0], GOLDEN, rtol=1e-9)
    beyond = states.take(states.role == BEYOND)
    assert len(beyond) == 12
    assert (beyond.pressure < top[beyond.tube]).all()
    assert not beyond.stable.any()
    assert (states.role == REST).sum() == 4


def test_path_ends_at_the_stretch_limit():
    model = toy(3, strain=20.0)
    states = follow(model, np.outer([0.3, 0.6, 1.1], pressure_at(model.k, GOLDEN))).states
    ends = states.take(states.last)
    assert (ends.role == LAST).all()
    assert_allclose(model.wall_stretch(ends.x), MAX_STRETCH, rtol=1e-9)
