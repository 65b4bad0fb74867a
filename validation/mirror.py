r"""The mirror image of a solved tube: also an equilibrium, found without following its path.

A reflection in a plane through the axis turns right-handed threads into left-handed ones. The image
of a state has the same radii and heights and the opposite azimuths; under the same pressure and
force and the opposite torque it is in equilibrium and stores the same energy, for any case. For the
FE model only the motion is mirrored; the pressures of the cells, in which equilibrium is linear,
follow from one step of Newton's method, which must not change the motion.

Source: symmetry, common practice, no source.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.spatial import cKDTree

from fem.case.case import Case
from fem.continuation.loading import TWIST
from fem.continuation.state import State
from fem.core.arrays import Array
from fem.solving.single import build
from validation.check import Quantity, at_most
from validation.kinds import Kind

SOURCE = "symmetry, common practice, no source"

SIGNS = np.array([1.0, -1.0, 1.0])
"""Signs of the increments of a node: radius, azimuth, height."""


def mirrored(case: Case) -> Case:
    """Return the case with threads of opposite hand."""
    changes = {}
    for number, family in enumerate(case.threads):
        key = "angle" if family.ring_turn is None else "ring_turn"
        changes[f"threads__{number}__{key}"] = f"{-getattr(family, key)!r} rad"
    return case.changed(**changes)


def mirror_checks(model: Any, state: State, resolution: str, full: bool) -> list[Quantity]:
    """Return the checks of the mirror image of `state`.

    Newton's method leaves residuals of 1e-8 of a force scale, which corresponds to up to 1e-6 of
    the radius where the tube is soft, and to as little of the energy; a wrong sign or a wrong phase
    of the threads gives 1e-2 and more.
    """
    image: Any = build(mirrored(model.case), model.name, resolution, full)
    start = _image(model, image, state.x)
    loads = state.loads.copy()
    loads[TWIST] *= -1
    residual = image.internal_force(start) - image.load_vectors(start) @ loads
    step = image.tangent(start, loads).solve(-residual)
    moved = np.abs(step[: len(start) if model.name == "fast" else image.motion.size]).max()
    size = model.case.tube.outer_radius
    stored = max(state.energy, model.case.force_scale * size)
    return [
        at_most(
            "mirror image, Newton step (outer radii)", SOURCE, 1e-5, moved / size, Kind.SYMMETRY
        ),
        Quantity(
            "mirror image, energy (N mm)",
            SOURCE,
            state.energy,
            image.energy(start + step),
            1e-6,
            stored,
            kind=Kind.SYMMETRY,
        ),
    ]


def _image(model: Any, image: Any, x: Array) -> Array:
    """Return the mirrored motion; a sector is mirrored at its middle plane."""
    if model.name == "fast":
        return np.asarray(x * [1, -1, 1])
    q, pressures = model.tube.split(x)
    nodes, end = model.body.nodes, 2 * np.pi / model.body.sectors
    radius, theta = np.hypot(nodes[:, 0], nodes[:, 1]), end - np.arctan2(nodes[:, 1], nodes[:, 0])
    there = np.column_stack([radius * np.cos(theta), radius * np.sin(theta), nodes[:, 2]])
    _, partner = cKDTree(image.body.nodes).query(there)
    unknown, theirs = model.motion.unknown, image.motion.unknown[partner]
    free = unknown >= 0
    turned = np.zeros_like(q)
    turned[theirs[free]] = (SIGNS * np.append(q, 0.0)[unknown])[free]
    return np.append(turned, np.zeros_like(pressures))
