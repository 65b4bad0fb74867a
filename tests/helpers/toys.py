"""Models of a few unknowns whose answer is known, and loadings for them."""

from dataclasses import dataclass

import numpy as np

from fem.continuation.loading import PRESSURE, Loading, Stage, dead_load
from fem.fast.model import DenseTangent


class Matrix(DenseTangent):
    """A dense tangent that tells its model what it has solved."""

    def __init__(self, matrix, model):
        super().__init__(np.atleast_2d(matrix))
        self._model = model

    def solve(self, right):
        self._model.solved += 1
        return super().solve(right)


class Toy:
    """Springs: the pressure pushes the first unknown; the subclasses say how it resists.

    It counts the tangents formed and the steps solved for, and keeps the errors looked at.
    """

    size = 1
    converge_to_roundoff = False

    def __init__(self):
        self.tangents = self.solved = 0
        self.errors = []

    def rest(self):
        return np.zeros(self.size)

    def energy(self, x):
        raise NotImplementedError

    def internal_force(self, x):
        raise NotImplementedError

    def stiffness(self, x):
        raise NotImplementedError

    def conjugate_displacements(self, x):
        return np.array([x[0], 0.0, 0.0])

    def load_vectors(self, x):
        load_vectors = np.zeros((len(x), 3))
        load_vectors[0, PRESSURE] = 1.0
        return load_vectors

    def tangent(self, x, loads):
        self.tangents += 1
        return Matrix(self.stiffness(x), self)

    def error(self, residual):
        self.errors.append(float(np.abs(residual).max()))
        return self.errors[-1]

    def set_prestress_fraction(self, fraction):
        pass

    def wall_stretch(self, x):
        return 1.0


class Linear(Toy):
    def energy(self, x):
        return float(x[0] ** 2)

    def internal_force(self, x):
        return 2.0 * x

    def stiffness(self, x):
        return 2.0


class Stiffening(Toy):
    def energy(self, x):
        return float(x[0] ** 2 / 2 + x[0] ** 4 / 4)

    def internal_force(self, x):
        return x + x**3

    def stiffness(self, x):
        return 1 + 3 * x**2


class Softening(Toy):
    """It carries x exp(-x): 1/e at x = 1, and never more."""

    limit = np.exp(-1)

    def energy(self, x):
        return float(1 - (1 + x[0]) * np.exp(-x[0]))

    def internal_force(self, x):
        return x * np.exp(-x)

    def stiffness(self, x):
        return (1 - x) * np.exp(-x)


class Quadratic(Toy):
    """Energy x'Kx/2 + c x_0^4/4 and coordinates G'x, all pairs in play."""

    def __init__(self, stiffness, load_vectors, quartic=0.0):
        super().__init__()
        self.size = len(stiffness)
        self.matrix, self.columns, self.quartic = stiffness, load_vectors, quartic

    def energy(self, x):
        return float(x @ self.matrix @ x / 2 + self.quartic * x[0] ** 4 / 4)

    def internal_force(self, x):
        return self.matrix @ x + self.quartic * x[0] ** 3 * np.eye(self.size)[0]

    def stiffness(self, x):
        first = np.eye(self.size)[0]
        return self.matrix + 3 * self.quartic * x[0] ** 2 * np.outer(first, first)

    def conjugate_displacements(self, x):
        return self.columns.T @ x

    def load_vectors(self, x):
        return self.columns


def quadratic(seed=0, size=5, quartic=0.0):
    """Return a stable model with random stiffness and directions."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(size, size))
    return Quadratic(root @ root.T + np.eye(size), rng.normal(size=(size, 3)), quartic)


def loading(*devices, driven=PRESSURE):
    """Return a loading of three devices (dead and nil unless given), all scales 1."""
    closed = (*devices, *[dead_load()] * (3 - len(devices)))
    return Loading(closed, np.ones(3), np.ones(3), driven)


@dataclass(frozen=True)
class Through(Stage):
    """A stage through values of any distance, instead of equal steps."""

    way: tuple[float, ...] = ()

    def values(self, start):
        return list(self.way)


def through(*way, pair=PRESSURE, device=None):
    """Return a stage through the values `way`."""
    return Through(pair, device or dead_load(), way=way)
