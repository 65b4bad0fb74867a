"""Models with a few unknowns and known solutions, and loadings for them."""

from dataclasses import dataclass

import numpy as np

from fem.continuation.loading import PRESSURE, Loading, Stage, dead_load
from fem.fast.model import DenseTangent


class Matrix(DenseTangent):
    """A dense tangent that counts its solutions in its model."""

    def __init__(self, matrix, model):
        super().__init__(np.atleast_2d(matrix))
        self._model = model

    def solve(self, right):
        self._model.solved += 1
        return super().solve(right)


class Toy:
    """Springs: the pressure acts on the first unknown; subclasses define the internal force.

    It counts the tangents and the solutions, and stores the errors that were evaluated.
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
    """The load is x exp(-x), with the maximum 1/e at x = 1."""

    limit = np.exp(-1)

    def energy(self, x):
        return float(1 - (1 + x[0]) * np.exp(-x[0]))

    def internal_force(self, x):
        return x * np.exp(-x)

    def stiffness(self, x):
        return (1 - x) * np.exp(-x)


class Quadratic(Toy):
    """Energy x'Kx/2 + c x_0^4/4 and conjugate displacements G'x of all pairs."""

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
    """Return a stable model with random stiffness and load vectors."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(size, size))
    return Quadratic(root @ root.T + np.eye(size), rng.normal(size=(size, 3)), quartic)


def loading(*devices, driven=PRESSURE):
    """Return a loading of three devices, by default zero dead loads; all scales are 1."""
    all_devices = (*devices, *[dead_load()] * (3 - len(devices)))
    return Loading(all_devices, np.ones(3), np.ones(3), driven)


@dataclass(frozen=True)
class Through(Stage):
    """A stage through given values, instead of equal steps."""

    given: tuple[float, ...] = ()

    def values(self, start):
        return list(self.given)


def through(*values, pair=PRESSURE, device=None):
    """Return a stage through `values`."""
    return Through(pair, device or dead_load(), given=values)
