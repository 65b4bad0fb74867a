"""Tubes of the checks: how to define one, solve its path, and evaluate its middle half."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from fem.case.case import Case
from fem.continuation.load_steps import loading_of, stages_of
from fem.continuation.loading import PRESSURE, Stage, dead_load
from fem.continuation.path import follow
from fem.continuation.state import State
from fem.core.arrays import Array
from fem.fast.model import FastModel
from fem.results.equilibrium_checks import check_balance
from fem.solving.single import build
from validation.check import Quantity, at_most, tagged
from validation.mirror import mirror_checks

GREENHOUSE = Path(__file__).parents[1] / "cases" / "greenhouse_wrist.toml"

A, B = 6.0, 8.0
"""Bore and outer radius of the tube of most checks (mm)."""

MU = 0.1
"""Its shear modulus (MPa)."""

NEO_HOOKEAN = {"law": "neo-Hookean", "shear_modulus": "100 kPa"}
MOONEY_RIVLIN = {"law": "Mooney-Rivlin", "c1": "40 kPa", "c2": "10 kPa"}
RUBBERS: dict[str, Any] = {
    "neo-Hookean": NEO_HOOKEAN,
    "Mooney-Rivlin": MOONEY_RIVLIN,
    "Yeoh": {"law": "Yeoh", "c1": "50 kPa", "c2": "4 kPa", "c3": "-0.1 kPa"},
    "Gent": {"law": "Gent", "shear_modulus": "100 kPa", "limit": 30.0},
    "Ogden": {
        "law": "Ogden",
        "terms": [
            {"modulus": "110 kPa", "exponent": 1.3},
            {"modulus": "1 kPa", "exponent": 5.0},
            {"modulus": "-20 kPa", "exponent": -2.6},
        ],
    },
}
"""A rubber of each law, all with a shear modulus of about 100 kPa."""


def family(angle: float, count: int, stiffness: float, toe: float, name: str = "A") -> Any:
    """Return a thread family at `angle` (deg) with `stiffness` in N, as a case file has it."""
    return {
        "name": name,
        "count": count,
        "angle": f"{angle!r} deg",
        "stiffness": f"{stiffness!r} N",
        "toe": toe,
    }


def tube(
    *families: Any,
    rubber: Any = NEO_HOOKEAN,
    length: float = 160.0,
    radii: tuple[float, float] = (A, B),
) -> Case:
    """Return a case of a tube of `length` and (bore, outer) `radii` in mm."""
    return Case.parse(
        {
            "title": "validation",
            "tube": {
                "bore_radius": f"{radii[0]!r} mm",
                "wall": f"{radii[1] - radii[0]!r} mm",
                "length": f"{length!r} mm",
            },
            "rubber": rubber,
            "threads": families,
            "pressure": {"end": "1 kPa", "steps": 1},
        }
    )


@dataclass(frozen=True)
class Through(Stage):
    """A stage through given values instead of equal steps."""

    way: tuple[float, ...] = ()

    def values(self, start: float) -> list[float]:
        """Return the requested values, wherever the stage starts."""
        return list(self.way)


@dataclass(frozen=True)
class SolvedPath:
    """A solved path of a model.

    Attributes
    ----------
    model
        The model.
    states
        The states of the path, from the start of the first output stage.
    resolution, full
        How the model was built; see :func:`fem.solving.single.build`.
    """

    model: Any
    states: list[State]
    resolution: str
    full: bool = False

    @property
    def iterations(self) -> int:
        """Newton iterations on the whole path, including unsuccessful ones and predictors."""
        return sum(state.iterations for state in self.states)

    def tagged(self, *quantities: Quantity) -> list[Quantity]:
        """Return values of this path, with the name of its model and its mesh."""
        return tagged(self.model, quantities)

    def balance_checks(self, what: str) -> list[Quantity]:
        """Return the equilibrium checks of all states, and the mirror image of the last one.

        The work is integrated by a cubic over each step of the path; a step with an error of more
        than 0.07 % of the work so far is rejected, and the project allows 0.2 % for the sum. The
        bore of the mesh consists of quadratic arcs; the area under an arc of angle h is too small
        by the relative amount h^4/480, by which thrust and reaction differ. The rest is the
        tolerance of Newton's method.
        """
        model, source = self.model, "energy balance and statics"
        radius = model.case.tube.outer_radius
        arcs = model.mesh.get("sectors_of_the_tube", 1) * model.mesh.get(
            "cells_around_body", np.inf
        )
        area = (2 * math.pi / arcs) ** 4 / 480 + 1e-5
        reactions = [model.reactions(state.x, state.loads) for state in self.states]
        residuals = check_balance(self.states, reactions, radius)
        bounds = {"energy_gap": 2e-3, "end_force_gap": area, "end_torque_gap": 1e-6}
        checks = [at_most(name, source, bound, residuals[name]) for name, bound in bounds.items()]
        checks += mirror_checks(model, self.states[-1], self.resolution, self.full)
        return self.tagged(*(replace(check, name=f"{what}, {check.name}") for check in checks))


def solve_path(
    case: Case,
    loads: list[float] | None = None,
    model: str = "fe",
    resolution: str = "coarse",
    full: bool = False,
) -> SolvedPath:
    """Follow the path of a case, its ends loaded and moved as the case defines.

    Parameters
    ----------
    case
        The case.
    loads
        Pressures (kPa) that replace the drive of the case.
    model, resolution, full
        See :func:`fem.solving.single.build`.
    """
    built = build(case, model, resolution, full)
    stages = stages_of(case)
    if loads is not None:
        drive = Through(PRESSURE, dead_load(), way=tuple(load / 1e3 for load in loads))
        stages = [drive if stage.pair == PRESSURE else stage for stage in stages]
    return SolvedPath(built, list(follow(built, loading_of(case), stages)), resolution, full)


def fast_state(model: FastModel, a: float, stretch: float, twist: float) -> Array:
    """Return the unknowns of the fast model."""
    tube = model.case.tube
    turned = tube.outer_radius * twist * tube.length
    return np.array([a - tube.bore_radius, turned, (stretch - 1) * tube.length])


def fast_loads(model: FastModel, a: float, stretch: float, twist: float = 0.0) -> tuple[float, ...]:
    """Return pressure, force and torque of the fast model, from its energy and volume."""
    x = fast_state(model, a, stretch, twist)
    stored, volume = model.internal_force(x), model.load_vectors(x)[:, PRESSURE]
    pressure = stored[0] / volume[0]
    _, torque, force = stored - pressure * volume
    return float(pressure), float(force), float(torque * model.case.tube.outer_radius)


@dataclass(frozen=True)
class Middle:
    """A uniformly strained tube: the fast model's, or the middle of a long FE tube.

    Attributes
    ----------
    a, b
        Current bore and outer radius (mm).
    stretch
        Axial stretch.
    twist
        Turn per length at rest (rad/mm).
    pull
        Total tension of all threads of each family (N).
    """

    a: float
    b: float
    stretch: float
    twist: float
    pull: list[float]

    @property
    def deformation(self) -> tuple[float, float, float]:
        """(a, stretch, twist), the arguments of `exact.py`."""
        return self.a, self.stretch, self.twist


def middle(model: Any, x: Any, share: float = 0.5) -> Middle:
    """Return the uniform tube of the fast model, or the middle `share` of the FE tube.

    Stretch and twist of the FE tube are differences between the nodes at the two ends of this
    part; radii and tensions are means over it.
    """
    if model.name == "fast":
        return _everywhere(model, x)
    q = x[: model.motion.size]
    radius, turn, height = model.motion.polar(q)
    nodes, size = model.body.nodes, model.case.tube
    at_rest, z = np.hypot(nodes[:, 0], nodes[:, 1]), nodes[:, 2]
    low, high = size.length * (1 - share) / 2, size.length * (1 + share) / 2
    near = 1e-6 * size.length
    first, last = np.abs(z - low) < near, np.abs(z - high) < near
    between = (z > low - near) & (z < high + near)
    bore = between & (at_rest < size.bore_radius + size.wall / 100)
    outer = between & (at_rest > size.outer_radius - size.wall / 100)
    pull = []
    for threads in model.threads:
        tension = threads.tension(model.tube.evaluate(x))
        at = threads.z.mean(axis=1)
        mine = (at > low) & (at < high)
        mean = tension[mine] @ threads.rest[mine] / threads.rest[mine].sum()
        pull.append(threads.family.count * float(mean))
    return Middle(
        a=float(radius[bore].mean()),
        b=float(radius[outer].mean()),
        stretch=float((height[last].mean() - height[first].mean()) / (high - low)),
        twist=float((turn[last].mean() - turn[first].mean()) / (high - low)),
        pull=pull,
    )


def _everywhere(model: Any, x: Any) -> Middle:
    a, stretch, twist = map(float, model.kinematic(x))
    values, outer = model.tube_values(x), model.case.tube.outer_radius
    pull = [threads.pull for threads in values.threads]
    return Middle(a, outer + values.growth, stretch, twist, pull)
