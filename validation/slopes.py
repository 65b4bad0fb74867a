"""The initial slope dx/dP of a path at rest: the limit of small pressure, linear elasticity."""

from __future__ import annotations

from typing import Any

import numpy as np

from fem.continuation.loading import AXIAL, PRESSURE
from fem.fast.model import FastModel
from validation.tubes import Middle, middle

KPA = 1e-3
"""The pressure (MPa) of all displacements."""


def fast_strains(model: FastModel, pull: float = 0.0) -> tuple[float, float, float, float]:
    """Return eps_z, psi, u(A) and u(B) under 1 kPa and an axial force `pull` (N)."""
    A, B = model.case.tube.bore_radius, model.case.tube.outer_radius
    slope = _fast_slope(model, pull)
    inner, axial, psi = map(float, model.kinematic(slope) - model.kinematic(model.rest()))
    outer = (A * inner - (B**2 - A**2) * axial / 2) / B  # from b^2 = a^2 + (B^2 - A^2)/lambda
    return axial, psi, inner, outer


def fast_pull(model: FastModel, pull: float = 0.0) -> float:
    """Return n T (N) of the first family, loaded as in :func:`fast_strains`; negative if slack.

    The strain is linearised by a central difference over 1e-6 mm about rest.
    """
    family, slope = model.case.threads[0], _fast_slope(model, pull)
    way = 1e-6 / np.abs(slope).max()
    more, less = (model.tube_values(sign * way * slope).threads[0].strain for sign in (1, -1))
    return float(family.count * family.stiffness * (more - less) / (2 * way))


def _fast_slope(model: FastModel, pull: float) -> Any:
    """Return dx under 1 kPa and an axial force `pull` (N)."""
    load = model.load_vectors(model.rest()) @ [KPA, pull, 0.0]
    return model.tangent(model.rest(), np.zeros(3)).solve(load)


def fe_slopes(model: Any) -> tuple[Any, Any]:
    """Return dx under 1 kPa, and dx under an axial force of 1 N."""
    rest = model.rest()
    tangent, load_vectors = model.tangent(rest, np.zeros(3)), model.load_vectors(rest)
    return KPA * tangent.solve(load_vectors[:, PRESSURE]), tangent.solve(load_vectors[:, AXIAL])


def fe_pull(model: Any, slope: Any, share: float = 0.2) -> float:
    """Return n T (N) of the first family in the middle of an FE tube moved by `slope`.

    The strains of stiff threads are smaller than the squares of the tube's strains, so they are
    linearised by a central difference about rest.
    """
    threads, way, length = model.threads[0], 1e-3, model.case.tube.length
    more, less = (threads.strain(model.tube.evaluate(x)) for x in (way * slope, -way * slope))
    near = np.abs(threads.z.mean(axis=1) / length - 0.5) < share / 2
    strain = ((more - less) / (2 * way))[near] @ threads.rest[near] / threads.rest[near].sum()
    return float(threads.family.count * threads.family.stiffness * strain)


def strains(model: Any, slope: Any) -> tuple[float, float, float, float]:
    """Return eps_z, psi, u(A) and u(B) in the middle of an FE tube moved by `slope`."""
    found: Middle = middle(model, slope, share=0.2)
    size = model.case.tube
    return (
        found.stretch - 1,
        found.twist,
        found.a - size.bore_radius,
        found.b - size.outer_radius,
    )
