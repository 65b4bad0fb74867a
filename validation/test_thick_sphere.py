r"""A thick sphere inflated past its limit point, with the element and weak forms of the tube.

@book{green1968sphere,
  author = {A. E. Green and W. Zerna},
  title = {Theoretical Elasticity},
  publisher = {Oxford University Press}, edition = {2}, year = {1968},
  note = {from memory, re-derived; page not seen},
}

@book{ogden1984sphere,
  author = {R. W. Ogden},
  title = {Non-Linear Elastic Deformations},
  publisher = {Ellis Horwood}, year = {1984},
  note = {from memory, re-derived; sec. 5.3, page not seen},
}

A sphere of incompressible neo-Hookean rubber, radii A and B at rest, a and b inflated, has the hoop
stretch l = r/R, where r^3 = R^3 + a^3 - A^3 and so dr/r = -dl / (l^4 - l). Its hoop stress exceeds
the radial one by mu (l^2 - l^-4), and equilibrium, integrated through the wall, gives

.. math::
   P = \int_a^b 2 (\sigma_{\theta\theta} - \sigma_{rr}) \frac{dr}{r}
     = 2\mu \int_{b/B}^{a/A} \frac{l^3 + 1}{l^5} \, dl
     = 2\mu \left[ f(b/B) - f(a/A) \right], \quad f(l) = \frac{1}{l} + \frac{1}{4 l^4}. \qquad (1)

P has a maximum. Before it a sphere under constant pressure is stable, beyond it is not: the
stiffness has one negative eigenvalue, that of uniform growth. The work up to a equals the stored
energy,

.. math:: E = \int_A^a P \, 4\pi a^2 \, da. \qquad (2)

Worked numbers (A = 10, B = 12 mm, mu = 0.1 MPa): P = 12.26313, 22.48911 and 19.21085 kPa at
a/A = 1.1, 1.5 and 2.

Solved cases. An octant between planes of symmetry (`solid.py`), with the enclosed volume prescribed
for each a/A, so that the limit point is passed; the pressure is a result. The bulk modulus is 1e5
times the shear modulus: with the usual factor of 1000 the change of volume of the wall reduces P by
0.08 % at a/A = 1.1 and 0.16 % at 2. The reaction at each plane of symmetry is P times the quarter
of the current section of the cavity on the mesh; the work equals the stored energy; and x and y may
be exchanged.

Tolerances. 0.3 % of P and of the radii, the project's limit; the bore must stay round to 0.1 % of
its radius; 0.3 % of E. The derivative of the enclosed volume is compared with the pressure
integrated over the bore to 1e-10 (Gauss' theorem). Numbers of unstable directions are exact. The
error of P should fall with the fourth power of the cell size, to 1/16 with cells half as large; 1/8
is allowed. Equilibrium: Newton's method leaves 1e-8 of a force scale (10 N) at a node, so 1e-6 of
the force; the work, by Gauss quadrature over 8 volumes, is accurate to 2e-5 up to a/A = 2, to 1e-4;
exchange of x and y to 1e-8, because the mesh has this symmetry.
"""

import numpy as np
import pytest
from scipy.integrate import quad

from fem.continuation.loading import PRESSURE
from fem.fe.wall.energy import stored_energy
from fem.rubber import NeoHookean
from validation.blocks import Bowl, area_beside
from validation.check import Drawing, Quantity, at_most, draw, verify
from validation.kinds import Kind
from validation.solid import Solid, State, volume_check

SOURCE = "Green & Zerna 1968, Ogden 1984, from memory, re-derived"
STATICS, SYMMETRY = "statics, energy balance", "symmetry, common practice, no source"

A, B, MU = 10.0, 12.0, 0.1
RUBBER = NeoHookean(MU, bulk_ratio=1e5)
SPHERE = Bowl((A, A), (B, B), base=0.0)

WORKED = {1.1: 12.26313, 1.5: 22.48911, 2.0: 19.21085}
"""P (kPa) by a/A."""

RATIOS = np.linspace(1.05, 2.0, 20).round(2)
"""a/A of the states."""


def outer(growth: float) -> float:
    """Return b (mm) at a/A."""
    return float(np.cbrt((growth * A) ** 3 + B**3 - A**3))


def pressure(growth: float) -> float:
    """Return eq. (1) (kPa) at a/A."""

    def f(stretch: float) -> float:
        return 1 / stretch + 1 / (4 * stretch**4)

    return 2e3 * MU * (f(outer(growth) / B) - f(growth))


def work(growth: float) -> float:
    """Return eq. (2) (N mm) at a/A."""
    return quad(lambda g: pressure(g) / 1e3 * 4 * np.pi * A**3 * g**2, 1.0, growth)[0]


def inflated(
    through: int, around: int, along: int, growth: list[float]
) -> tuple[Solid, list[State]]:
    """Return an octant and its states at a/A."""
    body = SPHERE.mesh(through, around, along)
    free = SPHERE.free(body, base=(True, True, False))
    octant = Solid(body, free, lambda field: stored_energy(field, RUBBER), scale=MU * A**2)
    volumes = np.pi / 6 * (A * np.array(growth)) ** 3
    return octant, octant.follow(PRESSURE, volumes.tolist(), by_load=False)


def radii(octant: Solid, state: State) -> tuple[float, float, float]:
    """Return mean bore radius, spread of it and mean outer radius (mm) over the nodes."""
    at_rest = np.linalg.norm(octant.body.nodes, axis=1)
    now = np.linalg.norm(octant.body.nodes + state.displacement, axis=1)
    bore = now[at_rest < A + 1e-6]
    return float(bore.mean()), float(np.ptp(bore)), float(now[at_rest > B - 1e-6].mean())


def worked_state(octant: Solid, state: State, growth: float) -> list[Quantity]:
    """Return the checks of a state at an a/A of the worked numbers."""
    worked, what = WORKED[growth], f"a/A = {growth}"
    a, spread, b = radii(octant, state)
    return [
        Quantity(f"{what}, eq. (1), P (kPa)", SOURCE, worked, pressure(growth), 1e-6),
        *octant.tagged(
            Quantity(f"{what}, P (kPa)", SOURCE, worked, 1e3 * state.pressure, 3e-3),
            Quantity(f"{what}, a (mm)", SOURCE, growth * A, a, 3e-3),
            Quantity(f"{what}, b (mm)", SOURCE, outer(growth), b, 3e-3),
            Quantity(f"{what}, E (N mm)", SOURCE, work(growth), 8 * state.energy, 3e-3),
            at_most(f"{what}, roundness of the bore", SYMMETRY, 1e-3, spread / a, Kind.RADIAL),
            volume_check(what, octant, state),
        ),
    ]


def unstable_directions(octant: Solid, states: list[State]) -> list[Quantity]:
    """Return the checks of the numbers of unstable directions, before the maximum and beyond."""
    rising = np.array([pressure(g + 1e-4) > pressure(g - 1e-4) for g in RATIOS])
    unstable = np.array([state.unstable for state in states])
    most, beyond = unstable[rising].max(), unstable[~rising]
    what = "the limit point, constant pressure"
    return octant.tagged(
        Quantity(f"before {what}, most, unstable directions", SOURCE, 0, most, 0.0, 1.0),
        Quantity(f"beyond {what}, fewest, unstable directions", SOURCE, 1, beyond.min(), 0.0),
        Quantity(f"beyond {what}, most, unstable directions", SOURCE, 1, beyond.max(), 0.0),
    )


def test_past_the_limit_point() -> None:
    octant, states = inflated(2, 4, 2, RATIOS.tolist())
    by_growth = dict(zip(RATIOS.tolist(), states, strict=True))
    checks = [
        check for growth in WORKED for check in worked_state(octant, by_growth[growth], growth)
    ]
    line = np.linspace(1.0, 2.1, 100)
    draw(
        Drawing(
            "Thick neo-Hookean sphere",
            "a/A",
            "P (kPa)",
            {
                "exact": (line.tolist(), [pressure(growth) for growth in line]),
                "FE, octant of 24 cells": (
                    RATIOS.tolist(),
                    [1e3 * state.pressure for state in states],
                ),
            },
        )
    )
    verify([*checks, *unstable_directions(octant, states)])


def section(octant: Solid, state: State, normal: int) -> float:
    """Return the area (mm2) of the cavity on the plane of symmetry of that normal."""
    across, along = (way for way in range(3) if way != normal)
    nodes, now = octant.body.nodes, octant.body.nodes + state.displacement
    on = np.flatnonzero(
        (np.abs(nodes[:, normal]) < 1e-6) & (np.linalg.norm(nodes, axis=1) < A + 1e-6)
    )
    on = on[np.argsort(nodes[on, along])]
    return area_beside(now[on, across], now[on, along])


def test_balance_and_symmetry() -> None:
    octant, _ = inflated(2, 4, 2, [])
    work, state = octant.work(PRESSURE, np.pi / 6 * (2 * A) ** 3, by_load=False)
    reaction = octant.reactions(state).sum(axis=0) * [-1, -1, 1]
    what = "a/A = 2"
    checks = [
        Quantity(
            f"{what}, plane {name} = 0, force (N)",
            STATICS,
            state.pressure * section(octant, state, normal),
            float(reaction[normal]),
            1e-6,
            kind=Kind.EQUILIBRIUM,
        )
        for normal, name in enumerate("xyz")
    ]
    gap = octant.image_gap(state, octant, state, np.eye(3)[[1, 0, 2]])
    left = octant.unbalanced(state) / octant.scale
    verify(
        octant.tagged(
            *checks,
            Quantity(
                f"{what}, stored energy and work (N mm)",
                STATICS,
                8 * work,
                8 * state.energy,
                1e-4,
                kind=Kind.EQUILIBRIUM,
            ),
            at_most(
                f"{what}, residual at a free node over the force scale",
                STATICS,
                1e-8,
                left,
                Kind.EQUILIBRIUM,
            ),
            at_most(f"{what}, x and y exchanged, error of u", SYMMETRY, 1e-8, gap, Kind.SYMMETRY),
        )
    )


@pytest.mark.slow
def test_convergence() -> None:
    stable = [growth for growth in RATIOS.tolist() if growth < 1.5]
    meshes = [(1, 2, 1), (2, 4, 2), (4, 8, 4)]
    errors = []
    for mesh in meshes:
        octant, states = inflated(*mesh, stable)
        gaps = [1e3 * s.pressure / pressure(g) - 1 for g, s in zip(stable, states, strict=True)]
        errors.append(float(np.abs(gaps).max()))
    sizes = [1 / through for through, _, _ in meshes]
    draw(
        Drawing(
            "Greatest error of P from a/A = 1.05 to 1.45",
            "cell size (walls)",
            "error (share of P)",
            {"FE": (sizes, errors), "fourth power": (sizes, [errors[0] * s**4 for s in sizes])},
            log=True,
        )
    )
    verify(
        octant.tagged(
            *(
                at_most(f"error of P, {name} cells", SOURCE, most, error, Kind.CONVERGENCE)
                for name, most, error in [
                    ("2x4x4 over 1x2x2", 0.125, errors[1] / errors[0]),
                    ("4x8x8 over 2x4x4", 0.125, errors[2] / errors[1]),
                    ("4x8x8", 3e-3, errors[2]),
                ]
            )
        )
    )
