"""Random uniform states of the ready tube, for tests of the fast model."""

import numpy as np

LIMIT = 1e-6
"""Tolerance of derivatives compared with differences, whose error is far smaller."""


def states(count=12):
    """Return random (a, lambda, tau) of the ready tube: inflated, stretched and twisted."""
    low, high = [4.5, 0.8, -0.05], [9.0, 1.5, 0.05]
    return np.random.default_rng(3).uniform(low, high, (count, 3))


def close(found, expected, rel):
    """Return whether arrays differ by at most `rel` of the largest entry."""
    return np.abs(found - expected).max() <= rel * np.abs(expected).max()


def state_of(model, y):
    """Return x = (a - A, B phi, w) of states y = (a, lambda, tau)."""
    a, lam, tau = np.moveaxis(y, -1, 0)
    tube = model.case.tube
    A, B, L = tube.bore_radius, tube.outer_radius, tube.length
    return np.stack([a - A, B * tau * L, (lam - 1) * L], axis=-1)
