r"""Tiny pressure: both models' first slope dx/dP against linear elasticity.

Sources: S. Timoshenko & J. N. Goodier, Theory of Elasticity, sec. 28 (Lame); Roark's Formulas for
Stress and Strain (7th ed.), table 13.5, cases 1a and 1b; R. H. MacNeal & R. L. Harder, Finite
Elements in Analysis and Design 1, 3 (1985), doi 10.1016/0168-874X(85)90003-4. Formula from memory,
re-derived; page not seen. The tube with threads is derived here from the first two.

With k = p A^2/(B^2 - A^2) a tube under the inner pressure p carries

.. math:: \sigma_r = k (1 - B^2/r^2), \quad \sigma_\theta = k (1 + B^2/r^2), \quad
          \sigma_z = k \text{ (closed ends) or } 0 \text{ (open)}, \qquad (1) \\
          E \epsilon_z = \sigma_z - \nu (\sigma_r + \sigma_\theta), \quad
          E u / r = \sigma_\theta - \nu (\sigma_r + \sigma_z). \qquad (2)

Both models have closed ends; the open tube is their tube with a force of p pi A^2 against the
thrust, plane strain one with whatever force keeps its length.

Inextensible threads (one family at alpha, on the radius B) tie the strains of (2) and the twist psi
by eps_z cos^2 + (u(B)/B) sin^2 + B psi sin cos = 0, and their line tension T per width loads the
surface; that leaves one linear equation for T.

Worked numbers (A = 6, B = 8 mm, E = 0.3 MPa, p = 1 kPa). nu = 1/2: closed, eps_z is nil and
u(A) = 6.85714286e-2, u(B) = 5.14285714e-2 mm; open, eps_z = -4.28571429e-3, u(A) = 8.14285714e-2
mm. MacNeal & Harder's thick cylinder (radii 3 and 9, E = 1000, p = 1, plane strain): u(3) =
5.0399e-3, 5.0602e-3 and 5.0623e-3 for nu = 0.49, 0.499 and 0.4999. Threads at 30, 60 and 70 deg:
n T, eps_z, psi, u(A) and u(B); at 54.7356 deg eps_z is nil.

Tolerances. The slope at rest is the limit of tiny pressure itself. Fast model: 1e-6, where it is
exact; 1e-5 with threads of 1 MN, whose strain is 1e-6 of the tube's. FE model, bare: 0.3 % of u,
and of eps_z the same share of the hoop strain u/A, with eqs. (1) and (2) taken at the model's own
nu (0.4995, and 0.4516 for the bulk modulus); it is nearly exact in the middle of a long tube. The
two radii of MacNeal & Harder are far apart, so their tube is given six cells through the wall;
their figures have five digits. FE model with 24 threads: 1 % of psi, 0.5 % of eps_z, 0.3 % of u;
the rubber's compressibility, worth eps_z = 4e-6, is within it. The angle of the greatest twist is
searched in steps of 0.1 deg.
"""

import math
from typing import Any

import numpy as np
import pytest

from fem.fast.model import FastModel
from fem.loading import AXIAL, PRESSURE
from fem.run import build
from validation.check import Quantity, verify
from validation.tubes import A, B, Middle, family, middle, tube

LAME = "Timoshenko & Goodier sec. 28, formula from memory, re-derived; page not seen"
MACNEAL = "MacNeal & Harder 1985, figures from memory, re-derived; page not seen"
THREADS = "derived here from Timoshenko & Goodier sec. 28"

KPA = 1e-3
"""The pressure (MPa) that all displacements belong to."""

E = 0.3

CLOSED = (0.0, 6.85714286e-2, 5.14285714e-2)
OPEN = (-4.28571429e-3, 8.14285714e-2, 6.85714286e-2)
"""(eps_z, u(A), u(B)) at nu = 1/2."""

CYLINDER = {0.49: 5.0399e-3, 0.499: 5.0602e-3, 0.4999: 5.0623e-3}
"""u(3) by nu."""

THREADED = {
    30: (7.42089532e-4, -8.83439919e-4, -2.93791262e-4, 6.96315565e-2, 5.37696872e-2),
    60: (2.60167824e-3, 6.19447201e-4, -1.02999746e-3, 4.99880125e-2, 3.64069768e-2),
    70: (3.58663286e-3, 2.21710841e-3, -1.05391688e-3, 3.47737332e-2, 2.22003602e-2),
}
"""(T per width in N/mm, eps_z, psi, u(A), u(B)) by helix angle (deg)."""


def lame(
    nu: float, thrust: bool, modulus: float = E, radii: tuple[float, float] = (A, B)
) -> tuple[float, float, float]:
    """Return eps_z, u(A) and u(B) by eqs. (1) and (2)."""
    inner, outer = radii
    k = KPA * inner**2 / (outer**2 - inner**2)
    axial = k if thrust else 0.0

    def growth(r: float) -> float:
        radial, hoop = k * (1 - (outer / r) ** 2), k * (1 + (outer / r) ** 2)
        return r / modulus * (hoop - nu * (radial + axial))

    return (axial - 2 * nu * k) / modulus, growth(inner), growth(outer)


def poisson(bulk_ratio: float) -> float:
    """Return Poisson's ratio from bulk over shear modulus."""
    return (3 * bulk_ratio - 2) / (2 * (3 * bulk_ratio + 1))


def rubber(bulk_ratio: float = 1000.0) -> dict[str, Any]:
    """Return neo-Hookean rubber with the modulus E."""
    shear = E / (2 * (1 + poisson(bulk_ratio)))
    return {"law": "neo-Hookean", "shear_modulus": f"{shear!r} MPa", "bulk_ratio": bulk_ratio}


def fast_strains(model: FastModel, pull: float) -> tuple[float, float, float, float]:
    """Return eps_z, psi, u(A) and u(B) under 1 kPa and an axial force `pull` (N)."""
    rest = model.rest()
    load = model.directions(rest) @ [KPA, pull, 0.0]
    slope = model.tangent(rest, np.zeros(3)).solve(load)
    inner, axial, psi = model.kinematic(slope) - model.kinematic(rest)
    outer = (A * inner - (B**2 - A**2) * axial / 2) / B  # from b^2 = a^2 + (B^2 - A^2)/lambda
    return axial, psi, inner, outer


def fe_slopes(model: Any) -> tuple[Any, Any]:
    """Return dx under 1 kPa, and dx under an axial force of 1 N."""
    rest = model.rest()
    tangent, directions = model.tangent(rest, np.zeros(3)), model.directions(rest)
    return KPA * tangent.solve(directions[:, PRESSURE]), tangent.solve(directions[:, AXIAL])


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


def bare(
    what: str, expected: tuple[float, ...], computed: tuple[float, ...], share: float
) -> list[Quantity]:
    """Return the checks of eps_z, u(A) and u(B); eps_z is held against the hoop strain."""
    return [
        Quantity(f"{what}, eps_z", LAME, expected[0], computed[0], share, expected[1] / A),
        Quantity(f"{what}, psi (rad/mm)", "symmetry", 0.0, computed[1], 1e-9, expected[1] / A / B),
        Quantity(f"{what}, u(A) (mm)", LAME, expected[1], computed[2], share),
        Quantity(f"{what}, u(B) (mm)", LAME, expected[2], computed[3], share),
    ]


def test_worked_numbers() -> None:
    checks = []
    for name, row, thrust in [("closed", CLOSED, True), ("open", OPEN, False)]:
        found = lame(0.5, thrust)
        checks += bare(name, row, (found[0], 0.0, *found[1:]), 1e-8)
    verify(checks)


def test_bare_fast_tube() -> None:
    model = FastModel(tube())
    thrust = KPA * np.pi * A**2
    verify(
        [
            *bare("fast, closed", CLOSED, fast_strains(model, 0.0), 1e-6),
            *bare("fast, open", OPEN, fast_strains(model, -thrust), 1e-6),
        ]
    )


@pytest.mark.parametrize("bulk_ratio", [10.0, 1000.0])
def test_bare_fe_tube(bulk_ratio: float) -> None:
    model = build(tube(rubber=rubber(bulk_ratio), length=120.0), "fe", "1x2x40")
    pressed, pulled = fe_slopes(model)
    nu, thrust = poisson(bulk_ratio), KPA * np.pi * A**2
    what = f"FE, nu = {nu:.4f}"
    verify(
        [
            *bare(f"{what}, closed", lame(nu, True), strains(model, pressed), 3e-3),
            *bare(
                f"{what}, open", lame(nu, False), strains(model, pressed - thrust * pulled), 3e-3
            ),
        ]
    )


def test_thick_cylinder_in_plane_strain() -> None:
    checks = []
    for nu, expected in CYLINDER.items():
        law = {
            "law": "neo-Hookean",
            "shear_modulus": f"{1000 / (2 * (1 + nu))!r} MPa",
            "bulk_ratio": 2 * (1 + nu) / (3 * (1 - 2 * nu)),
        }
        case = tube(rubber=law, length=100.0, radii=(3.0, 9.0))
        model = build(case, "fe", "6x1x40")
        pressed, pulled = fe_slopes(model)
        longer, _, growth, _ = strains(model, pressed)
        longer_pulled, _, growth_pulled, _ = strains(model, pulled)
        held = (growth - longer / longer_pulled * growth_pulled) / KPA
        checks.append(Quantity(f"nu = {nu}, u(3)", MACNEAL, expected, held, 3e-3))
    verify(checks)


@pytest.mark.parametrize("angle", THREADED)
def test_stiff_threads(angle: int) -> None:
    line, axial, psi, inner, outer = THREADED[angle]
    pull = line * 2 * math.pi * B * math.cos(math.radians(angle))
    fast = FastModel(tube(family(angle, 24, 1e6, 1e-6)))
    found = fast_strains(fast, 0.0)
    stretch = fast.tube.stretch(fast.case.threads[0], fast.kinematic(fast.rest()))
    strain = stretch.gradient @ (found[2], found[0], found[1])
    fe = build(tube(family(angle, 24, 1e5, 1e-5)), "fe", "1x2x40")
    seen = strains(fe, fe_slopes(fe)[0])
    what = f"{angle} deg"
    verify(
        [
            Quantity(f"fast, {what}, n T (N)", THREADS, pull, 24 * 1e6 * strain, 1e-5),
            Quantity(f"fast, {what}, eps_z", THREADS, axial, found[0], 1e-5),
            Quantity(f"fast, {what}, psi (rad/mm)", THREADS, psi, found[1], 1e-5),
            Quantity(f"fast, {what}, u(A) (mm)", THREADS, inner, found[2], 1e-5),
            Quantity(f"fast, {what}, u(B) (mm)", THREADS, outer, found[3], 1e-5),
            Quantity(f"FE, {what}, eps_z", THREADS, axial, seen[0], 5e-3),
            Quantity(f"FE, {what}, psi (rad/mm)", THREADS, psi, seen[1], 1e-2),
            Quantity(f"FE, {what}, u(A) (mm)", THREADS, inner, seen[2], 3e-3),
            Quantity(f"FE, {what}, u(B) (mm)", THREADS, outer, seen[3], 3e-3),
        ]
    )


def test_zero_stretch_angle() -> None:
    angle = math.degrees(math.atan(math.sqrt(2)))
    axial, _, inner, _ = fast_strains(FastModel(tube(family(angle, 24, 1e6, 1e-6))), 0.0)
    turning_most = max(
        np.linspace(60, 72, 121),
        key=lambda alpha: (
            -fast_strains(FastModel(tube(family(float(alpha), 24, 1e6, 1e-6))), 0.0)[1]
        ),
    )
    verify(
        [
            Quantity("54.7356 deg, eps_z", THREADS, 0.0, axial, 1e-5, inner / A),
            Quantity(
                "angle of the greatest twist (deg)", THREADS, 66.1203, turning_most, 0.06, 1.0
            ),
        ]
    )
