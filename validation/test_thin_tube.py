r"""A thin tube with stiff threads: stretch, bulge and twist against the helix angle.

@misc{thintube,
  title = {Hooke's law of a thin tube with inextensible threads},
  note = {derived here},
}

An incompressible thin tube of radius r, wall thickness t and modulus E has the forces per width N1
along and N2 round its axis: pr/2 and pr under the pressure p with closed free ends. One family of
inextensible threads at the angle alpha (s its sine, c its cosine) has the tension T per width
across the threads; it reduces the forces in the wall by T c^2 and T s^2 and adds the shear T s c.
Hooke's law gives the strains e1 along and e2 round the axis and the twist k = r psi,

.. math:: E t\, e_1 = N_1 - T c^2 - \tfrac12 (N_2 - T s^2), \quad
          E t\, e_2 = N_2 - T s^2 - \tfrac12 (N_1 - T c^2), \quad
          E t\, k = -3\, T s c, \qquad (1)

and the threads keep their length: e1 c^2 + e2 s^2 + k s c = 0, so that

.. math:: T = c^2 (N_1 - \tfrac12 N_2) + s^2 (N_2 - \tfrac12 N_1). \qquad (2)

Under pressure, with q = p r/(E t),

.. math:: \frac{T}{pr} = \tfrac34 s^2, \quad
          \frac{e_1}{q} = \tfrac38 s^2 (s^2 - 2 c^2), \quad
          \frac{e_2}{q} = \tfrac34 \left(1 - s^4 + \tfrac12 s^2 c^2\right), \quad
          \frac{k}{q} = -\tfrac94 s^3 c. \qquad (3)

The tube keeps its length at tan^2 = 2 (54.7356 deg), has the largest twist at 60 deg and shortens
most at 35.2644 deg. Two families at +-alpha give no twist:

.. math:: \frac{T}{pr} = \frac{3 s^2}{8 (1 - 3 s^2 c^2)} \text{ each}, \quad
          e_1 = \frac{T}{E t} (s^2 - 2 c^2), \quad e_2 = -e_1 / \tan^2\alpha. \qquad (4)

Where (2) is negative the threads are slack and the tube is bare: below 35.2644 deg in an open tube
(N1 = 0), above 54.7356 deg in a tube under axial tension (N2 = 0).

Worked numbers. (3): T/pr, e1/q, e2/q, k/q at 30 deg 0.1875, -0.11718750, 0.77343750, -0.24356964;
at 60 deg 0.5625, 0.07031250, 0.39843750, -0.73070893, the largest twist; at 70 deg 0.66226667,
0.21492761, 0.20393906, -0.63854521; largest shortening -1/8. (4): at 30 deg 0.21428571,
-0.26785714, 0.80357143; at 70 deg 0.47982128, 0.31143600, -0.04125728; largest shortening
-0.43301270 at 40.5503 deg, where sin^2 = 1 - 1/sqrt 3. Constant length:
`test_blocked_ends.py`; a thick wall: `test_thick_tube_linear.py`; large strain:
`test_adkins_rivlin_1955.py`.

Solved cases. The slope of both models at rest, the limit of small pressure, on the mean radius
R = 7 mm with 48 threads: of the fast model at t/R = 1e-4, of the FE model at t/R = 0.1 and 0.05.
Threads that go slack, to q = 1e-3, by the fast model.

Tolerances. Worked numbers to their last digit, 1e-8, angles 5e-5 deg. Fast model: t/R = 1e-4 makes
up to 1e-4 of q or pr; 3e-4. Angles are found to 0.01 deg. Paths to q = 1e-3: the squares of the
strains are of this size; 2e-3. FE model: a thick tube differs from a thin one by about t/R of q or
pr (the threads are outside, the pressure is inside), at t/R = 0.1 by 5 %: 8 %. That difference is
proportional to t/R: a straight line through t/R = 0.1 and 0.05 must give the value of the thin tube
up to (t/R)^2, 1 %.
"""

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from fem.case.case import Case
from fem.fast.model import FastModel
from fem.solving.single import build
from validation.check import Drawing, Quantity, draw, tagged, verify
from validation.slopes import KPA, fast_pull, fast_strains, fe_pull, fe_slopes, strains
from validation.tubes import MU, SolvedPath, family, middle, solve_path, tube

HOOKE = "Hooke's law of a thin tube, derived here"

R, E = 7.0, 3 * MU

type Row = tuple[float, ...]

ONE: dict[int, Row] = {
    30: (0.1875, -0.11718750, 0.77343750, -0.24356964),
    60: (0.5625, 0.07031250, 0.39843750, -0.73070893),
    70: (0.66226667, 0.21492761, 0.20393906, -0.63854521),
}
"""(T/pr, e1/q, e2/q, k/q) of one family by helix angle (deg)."""

TWO: dict[int, Row] = {
    30: (0.21428571, -0.26785714, 0.80357143, 0.0),
    70: (0.47982128, 0.31143600, -0.04125728, 0.0),
}
"""The same of two families at +-alpha."""

NAMES = ("T/pr", "e1/q", "e2/q", "k/q")


def one_family(angle: float, along: float = 0.5, around: float = 1.0) -> Row:
    """Return (T, e1, e2, k) by eqs. (1) and (2) for N1 and N2 over pr; T is zero if slack."""
    s, c = math.sin(math.radians(angle)), math.cos(math.radians(angle))
    pull = max(c**2 * (along - around / 2) + s**2 * (around - along / 2), 0.0)
    n1, n2 = along - pull * c**2, around - pull * s**2
    return pull, n1 - n2 / 2, n2 - n1 / 2, -3 * pull * s * c


def two_families(angle: float) -> Row:
    """Return (T of each family, e1, e2, k) by eq. (4)."""
    s, c = math.sin(math.radians(angle)), math.cos(math.radians(angle))
    pull = 3 / 8 * s**2 / (1 - 3 * s**2 * c**2)
    axial = pull * (s**2 - 2 * c**2)
    return pull, axial, -axial * (c / s) ** 2, 0.0


def rows(
    what: str, expected: Row, computed: Row, share: float, source: str = HOOKE
) -> list[Quantity]:
    """Return the checks of T, e1, e2 and k, relative to pr and q."""
    return [
        Quantity(f"{what}, {name}", source, e, c, share, 1.0)
        for name, e, c in zip(NAMES, expected, computed, strict=True)
    ]


def test_worked_numbers() -> None:
    checks = []
    for angle, row in ONE.items():
        checks += rows(f"{angle} deg", row, one_family(angle), 1e-8)
    for angle, row in TWO.items():
        checks += rows(f"+-{angle} deg", row, two_families(angle), 1e-8)
    shortest = math.degrees(math.asin(math.sqrt(1 - 1 / math.sqrt(3))))
    what = "largest shortening of +-alpha"
    checks += [
        Quantity(f"{what}, helix angle (deg)", HOOKE, 40.5503, shortest, 5e-5, 1.0),
        Quantity(
            f"{what}, eq. (4), e1/q", HOOKE, -0.43301270, two_families(shortest)[1], 1e-8, 1.0
        ),
    ]
    verify(checks)


def thin(*angles: float, share: float = 1e-4, stiffness: float = 1e4) -> Case:
    """Return a tube of the mean radius R and the wall `share` R with 48 threads a family."""
    threads = [
        family(float(angle), 48, stiffness, 1e-8, name)
        for angle, name in zip(angles, "AB", strict=False)
    ]
    return tube(*threads, radii=(R * (1 - share / 2), R * (1 + share / 2)), length=20 * R)


def by_q(case: Case, pressure: float, found: Row, pull: float) -> Row:
    """Return (T/pr, e1/q, e2/q, k/q) from (e1, psi, u(A), u(B)) and n T of the first family."""
    axial, twist, inner, outer = found
    q = pressure * R / (E * case.tube.wall)
    width = 2 * math.pi * R * math.cos(case.threads[0].angle)
    return pull / width / (pressure * R), axial / q, (inner + outer) / 2 / R / q, R * twist / q


def fast_slope(case: Case, thrust: float = 1.0) -> Row:
    """Return (T/pr, e1/q, e2/q, k/q) of the fast model's slope at rest.

    `thrust` is the remaining fraction of the axial thrust of the pressure. In the slope at rest
    threads count as taut: T may be negative.
    """
    model = FastModel(case)
    pull = (thrust - 1) * KPA * math.pi * case.tube.bore_radius**2
    return by_q(case, KPA, fast_strains(model, pull), fast_pull(model, pull))


@pytest.mark.parametrize("angle", ONE)
def test_fast_slope(angle: int) -> None:
    case = thin(angle)
    checks = rows(f"{angle} deg", ONE[angle], fast_slope(case), 3e-4)
    if angle in TWO:
        pair = fast_slope(thin(angle, -angle))
        checks += rows(f"+-{angle} deg", TWO[angle], pair, 3e-4)
    verify(tagged(FastModel(case), checks))


def extreme(value: Any, low: float, high: float) -> tuple[float, float]:
    """Return the angle (deg) of the minimum of a function, and the minimum."""
    found = minimize_scalar(value, bounds=(low, high), method="bounded", options={"xatol": 1e-4})
    return float(found.x), float(found.fun)


def test_angles_of_the_fast_tube() -> None:
    unstretched = brentq(lambda angle: fast_slope(thin(angle))[1], 50, 60)
    loose = brentq(lambda angle: fast_slope(thin(angle), thrust=0.0)[0], 30, 40)
    most_twisted, twist = extreme(lambda angle: fast_slope(thin(angle))[3], 50, 70)
    short, minimum = extreme(lambda angle: fast_slope(thin(angle))[1], 25, 45)
    shorter, minimum_of_two = extreme(lambda angle: fast_slope(thin(angle, -angle))[1], 30, 50)
    found = [
        ("no stretch, helix angle (deg)", 54.735610, unstretched, 1e-2),
        ("no tension in an open tube, helix angle (deg)", 35.264390, loose, 1e-2),
        ("largest twist, helix angle (deg)", 60.0, most_twisted, 1e-2),
        ("largest twist, k/q", -0.73070893, twist, 3e-4),
        ("largest shortening, helix angle (deg)", 35.264390, short, 1e-2),
        ("largest shortening, e1/q", -0.125, minimum, 3e-4),
        ("largest shortening of +-alpha, helix angle (deg)", 40.5503, shorter, 1e-2),
        ("largest shortening of +-alpha, e1/q", -0.43301270, minimum_of_two, 3e-4),
    ]
    checks = [Quantity(name, HOOKE, e, c, share, 1.0) for name, e, c, share in found]
    verify(tagged(FastModel(thin(45)), checks))


def fe_slope(*angles: float, share: float) -> tuple[Any, Any]:
    """Return the FE model and (T/pr, e1/q, e2/q, k/q) of its slope at rest."""
    case = thin(*angles, share=share, stiffness=1e5)
    model = build(case, "fe", "1x1x40")
    slope = fe_slopes(model)[0]
    return model, np.array(by_q(case, KPA, strains(model, slope), fe_pull(model, slope)))


def fe_checks(what: str, expected: Row, *angles: float) -> tuple[list[Quantity], Row]:
    """Return the checks of the FE model's slope, and its extrapolation to t/R = 0."""
    model, thick = fe_slope(*angles, share=0.1)
    extrapolated = 2 * fe_slope(*angles, share=0.05)[1] - thick
    checks = [
        Quantity(f"{what}, {wall}, {name}", HOOKE, e, float(c), share, 1.0)
        for wall, found, share in [
            ("t/R = 0.1", thick, 0.08),
            ("extrapolated to t/R = 0", extrapolated, 0.01),
        ]
        for name, e, c in zip(NAMES, expected, found, strict=True)
    ]
    return tagged(model, checks), tuple(extrapolated.tolist())


FE_ANGLES = (30, 45, 60, 70)


def test_fe_slope_of_one_family() -> None:
    checks, extrapolated = [], []
    for angle in FE_ANGLES:
        rows_of_one, at_zero = fe_checks(f"{angle} deg", one_family(angle), angle)
        checks += rows_of_one
        extrapolated.append(at_zero)
    fine, some = np.linspace(5, 85, 81).tolist(), np.linspace(10, 80, 8).tolist()
    for column, name in [(0, "tension T/pr"), (1, "axial strain e1/q"), (3, "twist k/q")]:
        curves = {
            "eq. (3)": (fine, [one_family(angle)[column] for angle in fine]),
            "fast, t/R = 1e-4": (some, [fast_slope(thin(angle))[column] for angle in some]),
            "FE, extrapolated to t/R = 0": (FE_ANGLES, [row[column] for row in extrapolated]),
        }
        title = f"One family, small pressure: {name}"
        draw(Drawing(title, "helix angle (deg)", name, curves))
    verify(checks)


@pytest.mark.parametrize("angle", TWO)
def test_fe_slope_of_two_families(angle: int) -> None:
    verify(fe_checks(f"+-{angle} deg", TWO[angle], angle, -angle)[0])


@pytest.mark.parametrize(
    ("ends", "angle"),
    [
        *(("open", angle) for angle in (20, 35, 45, 60)),
        *(("pulled", a) for a in (30, 50, 60, 70)),
    ],
)
def test_threads_go_slack(ends: str, angle: int) -> None:
    """Open ends: a force balances the thrust, N1 = 0. Pulled: no pressure, N1 = pr, N2 = 0."""
    case = thin(angle, stiffness=10.0)
    pressure = 1e-3 * E * case.tube.wall / R
    force, loads, along, around = {
        "open": (-pressure * math.pi * case.tube.bore_radius**2, [pressure * 1e3], 0.0, 1.0),
        "pulled": (2 * math.pi * R**2 * pressure, [], 1.0, 0.0),
    }[ends]
    path = solve_path(case.changed(end={"force": f"{force!r} N"}), loads, "fast")
    found, what = row_at_end(path, pressure), f"{ends}, {angle} deg"
    checks = rows(what, one_family(angle, along, around), found, 2e-3)
    verify([*path.tagged(*checks), *path.balance_checks(what)])


def row_at_end(path: SolvedPath, pressure: float) -> Row:
    """Return (T/pr, e1/q, e2/q, k/q) of the last state, p being `pressure` (MPa)."""
    mid, size = middle(path.model, path.states[-1].x), path.model.case.tube
    found = mid.stretch - 1, mid.twist, mid.a - size.bore_radius, mid.b - size.outer_radius
    return by_q(path.model.case, pressure, found, mid.pull[0])
