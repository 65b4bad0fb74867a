r"""Netting theory, pressure on threads alone: neutral angles, locking angles, tension.

@article{evans2002,
  author = {J. T. Evans and A. G. Gibson},
  title = {Composite angle ply laminates and netting analysis},
  journal = {Proc. R. Soc. A},
  volume = {458}, pages = {3079--3088}, year = {2002},
  doi = {10.1098/rspa.2002.1066},
  note = {from memory, re-derived; abstract seen, pages not},
}

@misc{nettingpairs,
  title = {Neutral pairs of unlike families, and where pairs of any angles lock},
  note = {derived here from the same balance},
}

In a closed vessel, inextensible threads alone, on the radius r, balance the pressure P. Family i
has n threads of the tension T at the signed angle alpha to the axis. Equilibrium along the axis,
round it and of the torque gives

.. math:: \sum_i n_i T_i \cos\alpha_i = \pi r^2 P, \quad
          \sum_i \frac{n_i T_i \sin^2\alpha_i}{\cos\alpha_i} = 2\pi r^2 P, \quad
          \sum_i n_i T_i \sin\alpha_i = 0. \qquad (1)

Two families can satisfy these three equations only if they are of opposite hand and

.. math:: \tan\alpha \tan|\beta| = 2, \quad n_1 T_1 \sin\alpha = n_2 T_2 \sin|\beta|
          = \frac{\pi r^2 P}{\cot\alpha + \cot|\beta|}, \qquad (2)

which for equal angles is tan^2 = 2, 54.7356 deg, and T = P pi r^2/(n cos(alpha)) with n threads in
all. A rubber tube with such a pair keeps its shape at any pressure: an incompressible wall that
cannot strain transmits P to the threads, so that r is their radius and not that of the bore. With
another pair it deforms until its *current* angles satisfy (2), if P is large compared with the
stiffness of the rubber. With cos(alpha') = lambda cos(alpha) for both families (2) gives lambda,
and sin(alpha') = (r/R)(sin(alpha) + R psi cos(alpha)) gives r/R and the twist psi; r^2 lambda is
then the maximum that the threads allow.

Worked numbers. Partners by (2): 45 and 63.434949, 60 and 49.106605, 70 and 36.052389 deg. Locks
(lambda, r/R): of +-70 deg 1.68805926, 0.86889751; of +-30 deg 0.66666667, 1.63299316, where r^2
lambda is 1.77778 times that at rest; of 70 and -50 deg 1.17118084, 0.94003218 and R psi =
0.10241045, at 66.38634 and -41.16470 deg. Tension: n = 16, P = 50 kPa, r = 7 mm, 54.7356 deg:
0.83321408 N per thread.

Solved cases. A thick tube (A = 6, B = 8 mm, mu = 0.1 MPa) with each neutral pair to 20 kPa, by both
models; the three locks at P/mu = 1000 by the fast model; the tension in a tube of 7 mm.

Tolerances. Worked numbers to their last digit, 1e-8 to 2e-7; V/V0, which has six digits, to 2e-6.
The deformation of a neutral tube is at most 1e-3 of the bulge of the bare tube. Tension: fast model
1e-5, where threads of 1 MN stretch by 1e-7 and the wall takes the same part of the load; FE model
1 % with 24 threads or more per family, the project's limit. With eight threads per family the
threads sink into the wall, on a fine mesh more than on a coarse one (a line load on a solid), and
the wall, which bulges between them, takes the rest: 3 %. Locks: the wall still takes 1e-3 of the
pressure and the threads stretch by 2e-4, so 1e-3.
"""

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from validation.check import Drawing, Quantity, draw, verify
from validation.tubes import MU, B, SolvedPath, family, middle, solve_path, tube

EVANS = "Evans & Gibson 2002, from memory, re-derived"
PAIRS = "netting of two families, derived here"

NEUTRAL = math.degrees(math.atan(math.sqrt(2)))

PARTNERS = {45.0: 63.434949, 60.0: 49.106605, 70.0: 36.052389, NEUTRAL: NEUTRAL}
"""Angles (deg) of the two families of a neutral pair."""

LOCKED = {
    (70, -70): (1.68805926, 0.86889751, 0.0),
    (30, -30): (0.66666667, 1.63299316, 0.0),
    (70, -50): (1.17118084, 0.94003218, 0.10241045),
}
"""(lambda, r/R, R psi) at the lock, by helix angles (deg)."""

SWELLING = {(30, -30): 1.77778}
"""Volume within the threads at the lock relative to that at rest, r^2 lambda/R^2."""

SIXTH_DIGIT = 2e-6
"""Relative size of half a unit of the last of six digits, rounded down."""

TENSION = 0.83321408
"""Of one of 16 threads (N)."""


def pair(first: float, second: float, count: int, stiffness: float, toe: float) -> list[Any]:
    """Return two families of `count` threads each, at angles in deg."""
    return [
        family(angle, count, stiffness, toe, name)
        for angle, name in zip((first, second), "AB", strict=True)
    ]


def partner(angle: float) -> float:
    """Return |beta| of eq. (2) (deg)."""
    return math.degrees(math.atan(2 / math.tan(math.radians(angle))))


def pulls(first: float, second: float, thrust: float) -> tuple[float, float]:
    """Return n T of each family by eq. (2) for the thrust pi r^2 P (N)."""
    alpha, beta = math.radians(first), math.radians(second)
    across = thrust / (1 / math.tan(alpha) + 1 / math.tan(beta))
    return across / math.sin(alpha), across / math.sin(beta)


def current(angle: float, stretch: float) -> float:
    """Return the current angle (rad), with the sign of `angle` (deg) at rest."""
    return math.copysign(math.acos(stretch * math.cos(math.radians(angle))), angle)


def lock(first: float, second: float) -> tuple[float, float, float]:
    """Return (lambda, r/R, R psi) where the current angles of two families satisfy eq. (2)."""

    def excess(stretch: float) -> float:
        return -math.tan(current(first, stretch)) * math.tan(current(second, stretch)) - 2

    straight = 1 / max(math.cos(math.radians(angle)) for angle in (first, second))
    stretch = brentq(excess, 1e-3, straight * (1 - 1e-12), xtol=1e-14)
    slants = [
        math.sin(current(angle, stretch)) / math.cos(math.radians(angle))
        for angle in (first, second)
    ]
    tangents = [math.tan(math.radians(angle)) for angle in (first, second)]
    radius = (slants[0] - slants[1]) / (tangents[0] - tangents[1])
    return stretch, radius, slants[0] / radius - tangents[0]


def lock_checks(what: str, angles: tuple[int, int], found: Any, share: float) -> list[Quantity]:
    """Return the checks of lambda, r/R and R psi at the lock."""
    names = ("lambda", "r/R", "R psi")
    checks = [
        Quantity(f"lock of {what}, {name}", PAIRS, e, c, share, e or 1.0)
        for name, e, c in zip(names, LOCKED[angles], found, strict=True)
    ]
    if angles in SWELLING:
        name, swelling = f"lock of {what}, V/V0", found[0] * found[1] ** 2
        checks.append(Quantity(name, PAIRS, SWELLING[angles], swelling, max(share, SIXTH_DIGIT)))
    return checks


def test_worked_numbers() -> None:
    checks = [
        Quantity(
            f"partner of {angle:.6g} deg, helix angle (deg)", PAIRS, beta, partner(angle), 1e-7
        )
        for angle, beta in PARTNERS.items()
    ]
    for angles in LOCKED:
        checks += lock_checks(f"{angles} deg", angles, lock(*angles), 1e-7)
    ends = [math.degrees(current(angle, lock(70, -50)[0])) for angle in (70, -50)]
    each = pulls(NEUTRAL, NEUTRAL, math.pi * 7.0**2 * 0.05)[0] / 8
    verify(
        [
            *checks,
            Quantity("lock of 70 deg, helix angle (deg)", PAIRS, 66.38634, ends[0], 2e-7),
            Quantity("lock of -50 deg, helix angle (deg)", PAIRS, -41.16470, ends[1], 2e-7),
            Quantity("n = 16, 50 kPa, tension (N)", EVANS, TENSION, each, 1e-8),
        ]
    )


def deformation_and_pulls(path: SolvedPath) -> tuple[tuple[float, float, float], list[float]]:
    """Return (lambda, r/R, R psi) of the last state, and n T of each family (N)."""
    found = middle(path.model, path.states[-1].x)
    return (found.stretch, found.b / B, found.twist * B), found.pull


NEUTRAL_LOADS = [2.0, 5.0, 10.0, 20.0]


@pytest.mark.parametrize("angle", PARTNERS)
@pytest.mark.parametrize("model", ["fast", "fe"])
def test_tube_with_a_neutral_pair_keeps_its_shape(model: str, angle: float) -> None:
    bare = solve_path(tube(), NEUTRAL_LOADS, "fast")
    bulge = bare.model.tube_values(bare.states[-1].x).growth / B
    threads = pair(angle, -PARTNERS[angle], 24, *{"fast": (1e6, 1e-7), "fe": (2e3, 1e-5)}[model])
    path = solve_path(tube(*threads), NEUTRAL_LOADS, model, "1x1x20")
    (stretch, radius, twist), found = deformation_and_pulls(path)
    what = f"{angle:.6g} and -{PARTNERS[angle]:.6g} deg, 20 kPa"
    strains = {"axial strain": stretch - 1, "hoop strain": radius - 1, "R psi": twist}
    expected = pulls(angle, PARTNERS[angle], math.pi * B**2 * 0.02)
    checks = [
        Quantity(f"{what}, over the bare bulge, {name}", PAIRS, 0.0, value / bulge, 1e-3, 1.0)
        for name, value in strains.items()
    ]
    checks += [
        Quantity(f"{what}, n T of {name} (N)", PAIRS, e, c, {"fast": 1e-5, "fe": 1e-2}[model])
        for name, e, c in zip("AB", expected, found, strict=True)
    ]
    verify([*path.tagged(*checks), *path.balance_checks(what)])


@pytest.mark.parametrize(
    ("model", "count", "mesh", "share"),
    [
        ("fast", 8, "", 1e-5),
        ("fe", 24, "1x1x20", 1e-2),
        pytest.param("fe", 8, "1x4x40", 3e-2, marks=pytest.mark.slow),
    ],
)
def test_tension(model: str, count: int, mesh: str, share: float) -> None:
    stiff = {"fast": (1e6, 1e-7), "fe": (1e4, 1e-5)}[model]
    case = tube(*pair(NEUTRAL, -NEUTRAL, count, *stiff), radii=(6.0, 7.0), length=140.0)
    path = solve_path(case, [1.0, 5.0, 20.0, 50.0], model, mesh)
    _, found = deformation_and_pulls(path)
    what = f"n = {2 * count}, 50 kPa, tension (N)"
    quantity = Quantity(what, EVANS, TENSION * 8 / count, found[0] / count, share)
    verify([*path.tagged(quantity), *path.balance_checks(f"tension, n = {2 * count}")])


def test_locks_under_high_pressure() -> None:
    loads = np.geomspace(1.0, 1e5, 26).tolist()
    checks, curves = [], {}
    for angles in LOCKED:
        path = solve_path(tube(*pair(*angles, 24, 1e7, 1e-6)), loads, "fast")
        found, _ = deformation_and_pulls(path)
        checks += path.tagged(*lock_checks(f"{angles} deg", angles, found, 1e-3))
        checks += path.balance_checks(f"{angles} deg to 100 MPa")
        pressed = path.states[1:]
        slants = [
            -math.prod(
                math.tan(current(angle, path.model.kinematic(state.x)[1])) for angle in angles
            )
            for state in pressed
        ]
        over = [math.log10(state.pressure / MU) for state in pressed]
        curves[f"fast, from {angles[0]} and {angles[1]} deg"] = (over, slants)
    curves["eq. (2)"] = ([-2.0, 3.0], [2.0, 2.0])
    draw(
        Drawing(
            "Two families turn until they lock",
            "log10 of P/mu",
            "tan(alpha) tan|beta| of the current angles",
            curves,
        )
    )
    verify(checks)
