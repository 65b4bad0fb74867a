r"""Small pressure on a thick tube with inextensible threads: initial slope dx/dP of both models.

@misc{linear,
  title = {Linear elasticity of a thick tube with inextensible threads on its outer surface},
  note = {derived here from Lame's tube (validation/test_lame.py)},
}

Threads of one family at alpha, on the radius B, constrain the strains and the twist psi of the
tube:

.. math:: \epsilon_z \cos^2\alpha + \frac{u(B)}{B} \sin^2\alpha
          + B \psi \sin\alpha \cos\alpha = 0, \qquad (1)

and their tension T per width acts on the surface with T sin^2(alpha)/B inwards, T cos^2 along the
axis and T sin cos round it: with Lame's stresses this gives one linear equation for T.

Worked numbers (A = 6, B = 8 mm, E = 0.3 MPa, p = 1 kPa): T, eps_z, psi, u(A) and u(B) at 30, 60 and
70 deg. At 54.7356 deg eps_z is zero, as on a thin tube; the largest twist is at 66.1203 deg, on a
thin tube at 60 deg (`test_thin_tube.py`).

Tolerances. Fast model: 1e-5, with threads of 1 MN, whose strain is 1e-6 of the tube's. FE model
with 24 threads: 1 % of psi and n T, 0.5 % of eps_z, 0.3 % of u; this includes the rubber's
compressibility, which makes eps_z = 4e-6. The angle of the largest twist is found to 0.01 deg.
"""

import math

import pytest
from scipy.optimize import minimize_scalar

from fem.fast.model import FastModel
from fem.solving.single import build
from validation.check import Drawing, Quantity, draw, tagged, verify
from validation.slopes import fast_pull, fast_strains, fe_pull, fe_slopes, strains
from validation.tubes import A, B, family, tube

SOURCE = "derived here from Lame's tube"

THREADED = {
    30: (7.42089532e-4, -8.83439919e-4, -2.93791262e-4, 6.96315565e-2, 5.37696872e-2),
    60: (2.60167824e-3, 6.19447201e-4, -1.02999746e-3, 4.99880125e-2, 3.64069768e-2),
    70: (3.58663286e-3, 2.21710841e-3, -1.05391688e-3, 3.47737332e-2, 2.22003602e-2),
}
"""(T per width in N/mm, eps_z, psi, u(A), u(B)) by helix angle (deg)."""


def fast(angle: float) -> FastModel:
    """Return the fast model with nearly inextensible threads."""
    return FastModel(tube(family(angle, 24, 1e6, 1e-6)))


def checks_of(
    angle: int, found: tuple[float, ...], shares: tuple[float, float, float]
) -> list[Quantity]:
    """Return the checks of eps_z, psi, u(A) and u(B), with tolerances of eps_z, psi and u."""
    _, axial, psi, inner, outer = THREADED[angle]
    share_axial, share_psi, share_u = shares
    return [
        Quantity(f"{angle} deg, eps_z", SOURCE, axial, found[0], share_axial),
        Quantity(f"{angle} deg, psi (rad/mm)", SOURCE, psi, found[1], share_psi),
        Quantity(f"{angle} deg, u(A) (mm)", SOURCE, inner, found[2], share_u),
        Quantity(f"{angle} deg, u(B) (mm)", SOURCE, outer, found[3], share_u),
    ]


def pull_of(angle: int, found: float, share: float) -> Quantity:
    """Return the check of n T."""
    expected = THREADED[angle][0] * 2 * math.pi * B * math.cos(math.radians(angle))
    return Quantity(f"{angle} deg, n T (N)", SOURCE, expected, found, share)


@pytest.mark.parametrize("angle", THREADED)
def test_fast_model(angle: int) -> None:
    model = fast(angle)
    tension = pull_of(angle, fast_pull(model), 1e-5)
    found = fast_strains(model)
    verify(tagged(model, [tension, *checks_of(angle, found, (1e-5, 1e-5, 1e-5))]))


@pytest.mark.parametrize("angle", THREADED)
def test_fe_model(angle: int) -> None:
    model = build(tube(family(angle, 24, 1e5, 1e-5)), "fe", "1x2x40")
    slope = fe_slopes(model)[0]
    tension = pull_of(angle, fe_pull(model, slope), 1e-2)
    verify(tagged(model, [tension, *checks_of(angle, strains(model, slope), (5e-3, 1e-2, 3e-3))]))


def test_zero_stretch_and_largest_twist() -> None:
    angle = math.degrees(math.atan(math.sqrt(2)))
    model = fast(angle)
    axial, _, inner, _ = fast_strains(model)
    most = minimize_scalar(
        lambda alpha: fast_strains(fast(float(alpha)))[1],
        bounds=(60, 72),
        method="bounded",
        options={"xatol": 1e-3},
    ).x
    angles = [5.0 * k for k in range(1, 18)]
    twist = [-fast_strains(fast(alpha))[1] * 1e3 for alpha in angles]
    points = (list(map(float, THREADED)), [-row[2] * 1e3 for row in THREADED.values()])
    curves = {"fast": (angles, twist), "worked numbers": points}
    draw(Drawing("Twist at 1 kPa", "helix angle (deg)", "-psi (1e-3 rad/mm)", curves))
    checks = [
        Quantity("54.7356 deg, eps_z", SOURCE, 0.0, axial, 1e-5, inner / A),
        Quantity("largest twist, helix angle (deg)", SOURCE, 66.1203, float(most), 0.01, 1.0),
    ]
    verify(tagged(model, checks))
