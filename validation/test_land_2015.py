r"""A truncated ellipsoid under a follower pressure: problem 2 of a benchmark of cardiac codes.

@article{land2015,
  author = {S. Land and V. Gurev and S. Arens and C. M. Augustin and others},
  title = {Verification of cardiac mechanics software: benchmark problems and solutions for testing
    active and passive material behaviour},
  journal = {Proc. R. Soc. A},
  volume = {471}, pages = {20150641}, year = {2015},
  doi = {10.1098/rspa.2015.0641},
  note = {second-hand; abstract seen, set-up read in public programs},
}

@misc{landown,
  title = {Problem 2 in axial symmetry by Q2/P1 elements of another code},
  note = {run here, with other code; the published values are near -26.6 and -28.3 mm, from
    memory},
}

@article{guccione1991,
  author = {J. M. Guccione and A. D. McCulloch and L. K. Waldman},
  title = {Passive material properties of intact ventricular myocardium determined from a
    cylindrical model},
  journal = {J. Biomech. Eng.},
  volume = {113}, number = {1}, pages = {42--55}, year = {1991},
  note = {from memory; page not seen},
}

The wall lies between two ellipsoids of revolution with semi-axes 7 and 17 mm inside, 10 and 20 mm
outside, the longer ones along z; its apex points to negative z, and the plane z = 5 mm truncates
it. This base is fixed, and 10 kPa act on the inner face. With the Green-Lagrange strain E the
incompressible, isotropic wall stores

.. math:: W = \tfrac12 C (e^Q - 1), \quad Q = b\, E : E, \qquad (1)

with C = 10 kPa and b = 1. With E = (F'F - 1)/2 it is a law of the first two invariants,

.. math:: E : E = \tfrac14 (\mathrm{tr}\, \mathbf{C}^2 - 2\, \mathrm{tr}\, \mathbf{C} + 3)
                = \tfrac14 (I_1^2 - 2 I_2 - 2 I_1 + 3), \qquad (2)

with **C** = F'F; the shear modulus of small strain is C b / 2.

Worked numbers: the apex moves to z = -26.609 mm inside and -28.278 mm outside.

Solved cases. A quarter between planes of symmetry (`solid.py`), the pressure in 5 steps; a square
of cells covers the apex, so that none is degenerate there. The bulk modulus is 1e5 times the shear
modulus of small strain; the usual factor of 1000 moves the apex by 0.4 %. At free nodes the
derivative of the enclosed volume, which gives the follower pressure of the FE model, is compared
with the pressure integrated over the inner face: they are equal up to round-off by Gauss' theorem.
The reaction at the base is P times the opening, of the radius 7 sqrt(1 - (5/17)^2) mm, and at each
plane of symmetry P times half of the current section of the cavity; the work equals the stored
energy; and x and y may be exchanged.

Tolerances. 0.5 % of z, the spread of the published codes, and of the displacement u_z, which is a
third of z and the stricter test; 4 % with one cell through the wall. (1) and (2) are compared to
1e-12, the derivative of the volume to 1e-10. Equilibrium: the rim of the opening consists of 4
quadratic arcs per quarter, and the area under an arc of angle h is too small by h^4/480 = 5e-5, so
1e-4; the sections are those of the mesh, and Newton's method leaves 1e-8 of a force scale (0.5 N)
at a node, so 1e-6 of the force; exchange of x and y to 1e-8, because the mesh has this symmetry;
the work, by Gauss quadrature over 16 pressures, is accurate to 2e-6 (over 8 to 1.3e-4), to 1e-5.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
import ufl

from fem.continuation.loading import PRESSURE
from fem.fe.wall.energy import stored_energy
from validation.blocks import Bowl, area_beside
from validation.check import Drawing, Quantity, at_most, draw, verify
from validation.kinds import Kind
from validation.solid import Solid, State, volume_check

SOURCE = "Land et al. 2015; values run here, with other code"
STATICS, SYMMETRY = "statics, energy balance", "symmetry, common practice, no source"
STIFFENING = "a wall that stiffens is stable, elementary"

VENTRICLE = Bowl((7.0, 17.0), (10.0, 20.0), base=5.0)
APEX = {"inside": (-17.0, -26.609), "outside": (-20.0, -28.278)}
"""z (mm) of the apex at rest and under pressure."""

STEPS = [0.002, 0.004, 0.006, 0.008, 0.010]
"""Pressures (MPa)."""


@dataclass(frozen=True)
class Exponential:
    """The law (1), as far as the FE model uses :class:`fem.rubber.law.Rubber`.

    Attributes
    ----------
    stiffness, exponent
        C (MPa) and b.
    bulk_ratio
        Bulk modulus over shear modulus.
    """

    stiffness: float = 0.010
    exponent: float = 1.0
    bulk_ratio: float = 1e5
    locking: float | None = None

    @property
    def parameters(self) -> tuple[float, float]:
        return self.stiffness, self.exponent

    @property
    def bulk_modulus(self) -> float:
        return self.bulk_ratio * self.stiffness * self.exponent / 2

    @staticmethod
    def energy(i1: Any, i2: Any, stiffness: Any, exponent: Any) -> Any:
        exp = ufl.exp if hasattr(i1, "ufl_shape") else np.exp
        return stiffness / 2 * (exp(exponent * (i1**2 - 2 * i2 - 2 * i1 + 3) / 4) - 1)


def quarter_of(through: int, around: int, along: int) -> Solid:
    """Return the quarter."""
    body = VENTRICLE.mesh(through, around, along)
    free = VENTRICLE.free(body, base=(False, False, False))
    law: Any = Exponential()  # without what only the fast model uses
    return Solid(body, free, lambda field: stored_energy(field, law), scale=0.5)


def inflated(through: int, around: int, along: int) -> tuple[Solid, list[State]]:
    """Return the quarter and its states under `STEPS`."""
    quarter = quarter_of(through, around, along)
    return quarter, quarter.follow(PRESSURE, STEPS)


def apexes(quarter: Solid, state: State, tolerance: float = 5e-3) -> list[Quantity]:
    """Return the checks of both apexes."""
    cells = len(quarter.body.connectivity)
    checks = []
    for side, (at_rest, expected) in APEX.items():
        z = quarter.moved(state, 0.0, 0.0, at_rest)[2]
        what = f"apex {side}, quarter of {cells} cells"
        checks += [
            Quantity(f"{what}, z (mm)", SOURCE, expected, float(z), tolerance),
            Quantity(
                f"{what}, u_z (mm)", SOURCE, expected - at_rest, float(z - at_rest), tolerance
            ),
        ]
    return quarter.tagged(*checks)


def meridian(quarter: Solid, axes: tuple[float, float]) -> Any:
    """Return the nodes of a meridian of an ellipsoid, from the apex to the base."""
    x, y, z = quarter.body.nodes.T
    on = np.flatnonzero((y < 1e-6) & (np.abs((x / axes[0]) ** 2 + (z / axes[1]) ** 2 - 1) < 1e-6))
    return on[np.argsort(z[on])]


def test_law_in_invariants() -> None:
    checks = []
    for number, F in enumerate(np.random.default_rng(1).uniform(-1, 1, (4, 3, 3)) + 2 * np.eye(3)):
        C = F.T @ F / np.linalg.det(F) ** (2 / 3)
        E, i1 = (C - np.eye(3)) / 2, np.trace(C)
        i2 = (i1**2 - np.trace(C @ C)) / 2
        expected = 0.010 / 2 * (np.exp(np.sum(E * E)) - 1)
        found = Exponential.energy(i1, i2, 0.010, 1.0)
        checks.append(Quantity(f"F number {number}, W (MPa)", SOURCE, expected, found, 1e-12))
    verify(checks)


def test_apex() -> None:
    quarter, states = inflated(2, 4, 8)
    now = quarter.body.nodes + states[-1].displacement
    curves: dict[str, Any] = {}
    for side, axes in (("inside", VENTRICLE.inner), ("outside", VENTRICLE.outer)):
        on = meridian(quarter, axes)
        curves[f"{side} at rest"] = (quarter.body.nodes[on, 0], quarter.body.nodes[on, 2])
        curves[f"FE, {side} at 10 kPa"] = (now[on, 0], now[on, 2])
    curves["other code, apexes"] = ([0.0, 0.0], [z for _, z in APEX.values()])
    draw(Drawing("A meridian of the ellipsoid", "x (mm)", "z (mm)", curves))
    unstable = max(state.unstable for state in states)
    verify(
        [
            *apexes(quarter, states[-1]),
            *quarter.tagged(
                at_most("unstable directions", STIFFENING, 0, unstable),
                volume_check("10 kPa", quarter, states[-1]),
            ),
        ]
    )


def test_balance_and_symmetry() -> None:
    quarter = quarter_of(2, 4, 8)
    work, state = quarter.work(PRESSURE, STEPS[-1], count=16)
    held, now = quarter.reactions(state).sum(axis=0), quarter.body.nodes + state.displacement
    on = meridian(quarter, VENTRICLE.inner)
    opening = math.pi / 4 * 7.0**2 * (1 - (5 / 17) ** 2)
    section = area_beside(now[on, 0], now[on, 2])
    gap = quarter.image_gap(state, quarter, state, np.eye(3)[[1, 0, 2]])
    left = quarter.unbalanced(state) / quarter.scale
    rows = [
        ("base, force along z (N)", state.pressure * opening, held[2], 1e-4),
        ("plane x = 0 and base, force along x (N)", -state.pressure * section, held[0], 1e-6),
        ("plane y = 0 and base, force along y (N)", -state.pressure * section, held[1], 1e-6),
        ("stored energy and work of the quarter (N mm)", work, state.energy, 1e-5),
    ]
    verify(
        quarter.tagged(
            *(
                Quantity(what, STATICS, e, float(c), share, kind=Kind.EQUILIBRIUM)
                for what, e, c, share in rows
            ),
            at_most(
                "residual at a free node over the force scale",
                STATICS,
                1e-8,
                left,
                Kind.EQUILIBRIUM,
            ),
            at_most("x and y exchanged, error of u", SYMMETRY, 1e-8, gap, Kind.SYMMETRY),
        )
    )


@pytest.mark.slow
def test_convergence() -> None:
    checks, counts = [], []
    places: dict[str, list[float]] = {side: [] for side in APEX}
    for mesh, tolerance in {(1, 4, 4): 4e-2, (2, 4, 8): 5e-3, (3, 8, 12): 5e-3}.items():
        quarter, states = inflated(*mesh)
        checks += apexes(quarter, states[-1], tolerance)
        counts.append(len(quarter.body.connectivity))
        for side, (at_rest, expected) in APEX.items():
            z = quarter.moved(states[-1], 0.0, 0.0, at_rest)[2]
            places[side].append(float(z / expected))
    curves: dict[str, Any] = {f"FE, {side}": (counts, shares) for side, shares in places.items()}
    curves["other code"] = (counts, [1.0] * len(counts))
    draw(Drawing("Apex of the ellipsoid", "cells", "z (share of other code's)", curves))
    verify(checks)
