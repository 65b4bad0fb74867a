r"""Threads free to move sideways: geodesics on a barrelled tube, against Clairaut's relation.

Source: A. C. Clairaut (1733), in any textbook of differential geometry, e.g. M. P. do Carmo,
Differential Geometry of Curves and Surfaces (1976), sec. 4-4; from memory, re-derived.

On a body of revolution r(z) a geodesic at the angle psi to the meridian keeps

.. math:: r \sin\psi = c, \qquad (1)

so that between two plates it winds through, and is as long as,

.. math:: \Theta = \int \frac{c \sqrt{1 + r'^2}}{r \sqrt{r^2 - c^2}} dz, \qquad
          \ell = \int \frac{r \sqrt{1 + r'^2}}{\sqrt{r^2 - c^2}} dz. \qquad (2)

Worked here: c is found from the first of (2) by SciPy's root search and quadrature, for the ready
case's tube, blown up by hand to the barrel r = R (1 + 0.4 sin(pi z / L)), and threads at 20 and
-30 deg. A second check is the solved case: there the wall is dented between the threads, and (1)
holds for the mean over the threads of the smooth part only.

Tolerances. The path is a polygon with two points to each of 20 cells: its length is off by
(chord/curvature radius)^2/24, some 1e-4, and c by as much; a mesh of twice the cells divides both
by about 4.
"""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from fem.case import Case
from fem.fe.model import FEModel
from fem.fe.shortest import DeformedFace, shortest_path
from fem.path import follow
from fem.stages import loading_of, stages_of
from validation.check import Quantity, at_most, verify
from validation.tubes import GREENHOUSE

SOURCE = "Clairaut's relation, formula from memory, re-derived"
WRIST = Case.load(GREENHOUSE)
R, L = WRIST.tube.outer_radius, WRIST.tube.length
BULGE = 0.4


def radius(z: float) -> float:
    return R * (1 + BULGE * math.sin(math.pi * z / L))


def slope(z: float) -> float:
    return R * BULGE * math.pi / L * math.cos(math.pi * z / L)


def winding(c: float) -> float:
    """Return Theta of eq. (2)."""
    return quad(
        lambda z: c * math.hypot(1, slope(z)) / (radius(z) * math.sqrt(radius(z) ** 2 - c**2)), 0, L
    )[0]


def length(c: float) -> float:
    """Return the length of eq. (2)."""
    return quad(
        lambda z: radius(z) * math.hypot(1, slope(z)) / math.sqrt(radius(z) ** 2 - c**2), 0, L
    )[0]


@pytest.mark.parametrize("resolution", ["1x2x20", "1x2x40"])
@pytest.mark.parametrize("number", [0, 1])
def test_barrel(number: int, resolution: str) -> None:
    model = FEModel(WRIST, resolution)
    family, threads = WRIST.threads[number], model.threads[number]
    nodes = model.body.nodes
    at_rest = np.hypot(nodes[:, 0], nodes[:, 1])
    growth = np.array([radius(z) / R for z in nodes[:, 2]])
    # only the outer face counts
    displacement = nodes * np.column_stack([growth - 1, growth - 1, 0 * growth])
    displacement[at_rest < R / 2] = 0.0
    face = DeformedFace(threads.face, displacement)
    z = np.linspace(0, L, 2 * model.body.cells.axial + 1)
    helix = family.turn_rate(R) * z
    path = shortest_path(face, z, helix)
    x, _ = face.at(path, z)
    chords = np.diff(x, axis=0)
    middle = (x[1:] + x[:-1]) / 2
    moment = middle[:, 0] * chords[:, 1] - middle[:, 1] * chords[:, 0]  # r^2 d(theta)
    found = moment / np.linalg.norm(chords, axis=1)  # r sin(psi)
    turn = abs(helix[-1])
    c = brentq(lambda c: winding(c) - turn, 1e-6, R * (1 - 1e-9))
    along_helix = np.linalg.norm(np.diff(face.at(helix, z)[0], axis=0), axis=1).sum()
    total = float(np.linalg.norm(chords, axis=1).sum())
    spacing = 4 if resolution == "1x2x20" else 1
    verify(
        [
            Quantity("r sin(psi), mean (mm)", SOURCE, c, abs(found).mean(), 1e-3 * spacing),
            at_most("r sin(psi), scatter", SOURCE, 2e-3 * spacing, float(np.ptp(found)) / c),
            Quantity("length (mm)", SOURCE, length(c), total, 2e-4 * spacing),
            at_most("length over that of the helix", "a minimum", 1.0, total / along_helix),
        ]
    )


def test_solved_case_lies_at_the_minimum() -> None:
    """Any sideways shift of the settled threads makes them longer."""
    changes = {f"threads__{k}__hold": "free path" for k in (0, 1)}
    case = WRIST.changed(**changes, pressure__end="9 kPa", pressure__steps=3)
    model = FEModel(case, "coarse")
    *_, state = follow(model, loading_of(case), stages_of(case))
    _, displacement = model._set(state.x)
    checks = []
    for threads in model.threads:
        face = DeformedFace(threads.face, displacement)
        z, path = threads._knots, threads.paths[0]

        def long(shift: float, z=z, path=path, face=face) -> float:
            x, _ = face.at(path + shift * np.sin(math.pi * z / L), z)
            return float(np.linalg.norm(np.diff(x, axis=0), axis=1).sum())

        checks += [
            at_most(f"{threads.family.name}, {side:+}", "a minimum", 1.0, long(0.0) / long(side))
            for side in (-0.02, 0.02)
        ]
        tension = threads.tension(displacement)
        spread = float(np.ptp(tension) / tension.mean())
        checks.append(
            at_most(f"{threads.family.name}, tension along it", "no friction", 1e-10, spread)
        )
    verify(checks)
