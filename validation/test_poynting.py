r"""Poynting's effect: a twisted cylinder of rubber lengthens, or pushes its grips apart.

@article{poynting1909,
  author = {J. H. Poynting},
  title = {On pressure perpendicular to the shear planes in finite pure shears, and on the
           lengthening of loaded wires when twisted},
  journal = {Proc. R. Soc. Lond. A},
  volume = {82}, pages = {546--559}, year = {1909},
  doi = {10.1098/rspa.1909.0059},
  note = {from memory: the effect; page not seen},
}

@article{rivlin1949,
  author = {R. S. Rivlin},
  title = {Large elastic deformations of isotropic materials. VI. Further results in the theory of
           torsion, shear and flexure},
  journal = {Phil. Trans. R. Soc. A},
  volume = {242}, pages = {173--195}, year = {1949},
  doi = {10.1098/rsta.1949.0009},
  note = {from memory, re-derived; page not seen},
}

A solid cylinder of radius R with the stretch lambda and the twist psi per length at rest remains a
cylinder; with W = C1 (I1 - 3) + C2 (I2 - 3) its energy per unit length follows from
I1 = lambda^2 + 2/lambda + k/lambda and I2 = 2 lambda + (1 + k)/lambda^2, k = (psi r)^2, with the
radius r at rest. At constant length (lambda = 1) it needs the torque M and the compressive force
N < 0,

.. math:: M = \tfrac{\pi}{2} \mu \psi R^4, \qquad
          N = -\tfrac{\pi}{2} \psi^2 R^4 (C_1 + 2 C_2), \qquad \mu = 2 (C_1 + C_2). \qquad (1)

For any law of I1 alone,

.. math:: N = -\psi M / 2. \qquad (2)

With a free end, the cylinder lengthens until the derivative of its energy by lambda is zero; with
K = (psi R)^2,

.. math:: C_1 \lambda (\lambda^3 - 1 - K/4) + C_2 (\lambda^3 - 1 - K/2) = 0; \qquad
          \lambda = (1 + K/4)^{1/3} \text{ if } C_2 = 0. \qquad (3)

Both models describe tubes only. A tube with an open bore, P = 0, is solved by quadrature
(`exact.py`) for the bore radius a, and for lambda if its end is free. With a narrow bore it
converges to the solid cylinder as (A/R)^2.

Worked numbers (R = 5 mm, mu = 0.1 MPa, psi = 0.05 rad/mm, lambda = 1): neo-Hookean
M = 4.90873852 N mm, N = -0.12271846 N; Mooney-Rivlin with C1 = 0.04, C2 = 0.01 MPa: the same M,
N = -0.14726216 N. Eq. (3): lambda = 1.00518144 and 1.00620626.

Solved cases. Quadrature with A = R/5000 against (1), (2) and (3); (2) for Yeoh's and Gent's laws up
to psi R = 1. The fast model with A = R/1000 against (1) and (3), and its bore against
quadrature. Both models with A = R/10 against quadrature, on a tube of 16 R.

Tolerances. Worked numbers: half a unit of the last digit. Quadrature: (A/R)^2 = 4e-8 and those
digits for (1), 1e-6 for (2) and for lambda - 1. Fast model: 1e-6 of M and 1e-5 of N, of lambda - 1
and of a, which are differences of larger numbers; a bore of R/1000 makes 1e-6. FE model: M 0.5 %, N
1 %, lambda - 1 in the middle half 0.5 %; its plates prevent the ends from narrowing, which reduces
N by 0.2 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pytest
from scipy.optimize import brentq, root

from fem.continuation.loading import AXIAL, TWIST, prescribed
from validation.check import Drawing, Quantity, draw, verify
from validation.exact import ExactTube, mooney_rivlin
from validation.homogeneous import solve_end_path
from validation.tubes import MOONEY_RIVLIN, NEO_HOOKEAN, SolvedPath, middle, tube

SOURCE = "Rivlin 1949, from memory, re-derived"
QUADRATURE = "open tube by quadrature, derived here"

R, PSI, LENGTH = 5.0, 0.05, 80.0
TORQUE = 4.90873852
NARROW = R / 5000
"""Radius of a bore that approximates a solid cylinder (mm)."""

LAWS: dict[str, tuple[Any, tuple[float, float], float, float]] = {
    "neo-Hookean": (NEO_HOOKEAN, (0.05, 0.0), -0.12271846, 1.00518144),
    "Mooney-Rivlin": (MOONEY_RIVLIN, (0.04, 0.01), -0.14726216, 1.00620626),
}
"""Case data, C1 and C2 (MPa), N (N) of eq. (1), and lambda of eq. (3)."""

OF_I1 = {
    "Yeoh": {"law": "Yeoh", "c1": "40 kPa", "c2": "10 kPa", "c3": "2 kPa"},
    "Gent": {"law": "Gent", "shear_modulus": "100 kPa", "limit": 3.0},
}


def open_bore(exact: ExactTube, stretch: float, twist: float) -> float:
    """Return the bore radius (mm) without pressure."""

    def pressure(a: float) -> float:
        return exact.loads(a, stretch, twist)[0]

    return float(brentq(pressure, 0.5 * exact.A, 1.5 * exact.A, xtol=1e-9 * exact.A))


def open_tube(exact: ExactTube, stretch: float, twist: float) -> tuple[float, float]:
    """Return force (N) and torque (N mm) without pressure."""
    _, force, torque = exact.loads(open_bore(exact, stretch, twist), stretch, twist)
    return force, torque


def free_stretch(exact: ExactTube, twist: float) -> float:
    """Return lambda without force and pressure."""

    def unbalanced(y: Any) -> tuple[float, float]:
        return exact.loads(y[0] * exact.A, y[1], twist)[:2]

    found = root(unbalanced, (1.0, 1.0), tol=1e-12)
    assert found.success
    return float(found.x[1])


def solid_stretch(c1: float, c2: float, twist: float) -> float:
    """Return lambda of eq. (3)."""
    k = (twist * R) ** 2

    def slope(x: float) -> float:
        return c1 * x * (x**3 - 1 - k / 4) + c2 * (x**3 - 1 - k / 2)

    return float(brentq(slope, 0.9, 1.5, xtol=1e-15))


def twisted(
    rubber: Any, bore: float, axial: str, model: str, rates: Sequence[float] = (PSI / 2, PSI)
) -> SolvedPath:
    """Return the path of a tube through twists per length (rad/mm), its fixed length or free."""
    case = tube(rubber=rubber, length=LENGTH, radii=(bore, R)).changed(end={"axial": axial})
    turns = [rate * LENGTH for rate in rates]
    return solve_end_path(case, TWIST, prescribed(), turns, model, "2x1x20")


@pytest.mark.parametrize("law", LAWS)
def test_quadrature_of_a_narrow_bore(law: str) -> None:
    _, (c1, c2), force, stretch = LAWS[law]
    exact = ExactTube(NARROW, R, mooney_rivlin(c1, c2))
    found, torque = open_tube(exact, 1.0, PSI)
    lengthened = solid_stretch(c1, c2, PSI)
    size = math.pi / 2 * PSI * R**4
    bore_error = 4e-8
    verify(
        [
            Quantity(f"eq. (1), {law}, M (N mm)", SOURCE, TORQUE, 2 * (c1 + c2) * size, 5e-9, 1.0),
            Quantity(
                f"eq. (1), {law}, N (N)", SOURCE, force, -PSI * size * (c1 + 2 * c2), 5e-9, 1.0
            ),
            Quantity(f"eq. (3), {law}, lambda", SOURCE, stretch, lengthened, 5e-9, 1.0),
            Quantity(f"{law}, A = R/5000, M (N mm)", SOURCE, TORQUE, torque, bore_error + 1e-9),
            Quantity(f"{law}, A = R/5000, N (N)", SOURCE, force, found, bore_error + 4e-8),
            Quantity(
                f"{law}, A = R/5000, lambda",
                SOURCE,
                lengthened,
                free_stretch(exact, PSI),
                1e-6,
                lengthened - 1,
            ),
        ]
    )


@pytest.mark.parametrize("law", LAWS)
def test_almost_solid_cylinder(law: str) -> None:
    rubber, (c1, c2), force, stretch = LAWS[law]
    bore = R / 1000
    grips, free = (twisted(rubber, bore, axial, "fast") for axial in ("held", "free"))
    last = grips.states[-1]
    lengthened = middle(free.model, free.states[-1].x).stretch - 1
    exact = open_bore(ExactTube(bore, R, mooney_rivlin(c1, c2)), 1.0, PSI) / bore
    bore_ratio = middle(grips.model, last.x).a / bore
    what = f"{law}, A = R/1000"
    checks = grips.tagged(
        Quantity(f"{what}, M (N mm)", SOURCE, TORQUE, last.loads[TWIST], 1e-6),
        Quantity(f"{what}, N (N)", SOURCE, force, last.loads[AXIAL], 1e-5),
        Quantity(f"{what}, lambda - 1", SOURCE, stretch - 1, lengthened, 1e-5),
        Quantity(f"{what}, a/A", QUADRATURE, exact, bore_ratio, 1e-5),
    )
    verify(
        [
            *checks,
            *grips.balance_checks(f"{what}, fixed length"),
            *free.balance_checks(f"{what}, free"),
        ]
    )


@pytest.mark.parametrize("law", OF_I1)
def test_force_follows_from_the_torque(law: str) -> None:
    rates = (0.05, 0.1, 0.2)
    path = twisted(OF_I1[law], R / 10, "held", "fast", rates)
    exact = ExactTube.of(path.model.case)
    checks, own = [], []
    for rate, state in zip(rates, path.states[1:], strict=True):
        what = f"{law}, psi = {rate}"
        force, torque = open_tube(ExactTube(NARROW, R, exact.law), 1.0, rate)
        own.append(Quantity(f"{what}, N/M (1/mm)", SOURCE, -rate / 2, force / torque, 1e-6))
        force, torque = open_tube(exact, 1.0, rate)
        checks += [
            Quantity(f"{what}, A = R/10, M (N mm)", QUADRATURE, torque, state.loads[TWIST], 1e-6),
            Quantity(f"{what}, A = R/10, N (N)", QUADRATURE, force, state.loads[AXIAL], 1e-5),
        ]
    verify([*own, *path.tagged(*checks), *path.balance_checks(f"{law}, fixed length")])


@pytest.mark.parametrize("law", LAWS)
def test_tube_of_held_length(law: str) -> None:
    rubber, (c1, c2), *_ = LAWS[law]
    exact = ExactTube(R / 10, R, mooney_rivlin(c1, c2))
    rates = (0.01, 0.02, 0.03, 0.04, PSI)
    force, torque = open_tube(exact, 1.0, PSI)
    fine = [PSI * k / 10 for k in range(11)]
    curves = {"exact": (fine, [-open_tube(exact, 1.0, rate)[0] for rate in fine])}
    checks = []
    for model, shares in (("fast", (1e-6, 1e-5)), ("fe", (5e-3, 1e-2))):
        path = twisted(rubber, R / 10, "held", model, rates)
        last = path.states[-1].loads
        checks += path.tagged(
            Quantity(f"{law}, A = R/10, M (N mm)", QUADRATURE, torque, last[TWIST], shares[0]),
            Quantity(f"{law}, A = R/10, N (N)", QUADRATURE, force, last[AXIAL], shares[1]),
        )
        checks += path.balance_checks(f"{law}, A = R/10, fixed length")
        pushes = [-float(state.loads[AXIAL]) for state in path.states[1:]]
        curves["FE" if model == "fe" else "fast"] = (list(rates), pushes)
    title = f"{law}: push on grips that keep the length"
    draw(Drawing(title, "twist (rad/mm)", "push -N (N)", curves))
    verify(checks)


@pytest.mark.parametrize("law", LAWS)
def test_free_tube_lengthens(law: str) -> None:
    rubber, (c1, c2), *_ = LAWS[law]
    exact = ExactTube(R / 10, R, mooney_rivlin(c1, c2))
    stretch = free_stretch(exact, PSI)
    checks = []
    for model, share in (("fast", 1e-6), ("fe", 5e-3)):
        path = twisted(rubber, R / 10, "free", model)
        found = middle(path.model, path.states[-1].x).stretch
        name = f"{law}, A = R/10, free, lambda"
        checks += path.tagged(Quantity(name, QUADRATURE, stretch, found, share, stretch - 1))
        checks += path.balance_checks(f"{law}, A = R/10, free")
    verify(checks)
