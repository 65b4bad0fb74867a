r"""A braid of threads that shortens under a load: force against contraction, free contraction.

@article{chou1996,
  author = {C.-P. Chou and B. Hannaford},
  title = {Measurement and modeling of McKibben pneumatic artificial muscles},
  journal = {IEEE Trans. Robotics and Automation},
  volume = {12}, number = {1}, pages = {90--102}, year = {1996},
  doi = {10.1109/70.481753},
  note = {second-hand: the formula as two public files quote it; title from memory},
}

@article{tondu2000,
  author = {B. Tondu and P. Lopez},
  title = {Modeling and control of McKibben artificial muscle robot actuators},
  journal = {IEEE Control Systems Magazine},
  volume = {20}, number = {2}, pages = {15--38}, year = {2000},
  doi = {10.1109/37.833638},
  note = {from memory, re-derived; page not seen},
}

@incollection{schulte1961,
  author = {H. F. Schulte},
  title = {The characteristics of the McKibben artificial muscle},
  booktitle = {The Application of External Power in Prosthetics and Orthotics},
  publisher = {National Academy of Sciences, Publ. 874}, pages = {94--115}, year = {1961},
  note = {from memory, re-derived; page not seen},
}

Inextensible threads at +-theta_0 on the radius r_0, with a wall of no stiffness, keep
lambda^2 cos^2 + (r/r_0)^2 sin^2 = 1. At the contraction e = 1 - lambda under the pressure p the
tensile force is, by virtual work p dV = -F dL,

.. math:: F = \pi p r_0^2 \left[ a (1 - e)^2 - b \right], \quad
          a = 3/\tan^2\theta_0, \quad b = 1/\sin^2\theta_0, \qquad (1) \\
          F = 0 \text{ at } e_{max} = 1 - \frac{1}{\sqrt 3 \cos\theta_0}. \qquad (2)

With a wall of finite stiffness and the loads P_0 and F_0 of the bare tube in the same deformation
(`exact.py`), (1) holds for p = P - P_0 and F - F_0.

Worked numbers: p = 0.2 MPa, r_0 = 8 mm, theta_0 = 25 deg: F = 329.653896, 224.242006 and
129.926104 N at e = 0, 0.1 and 0.2; e_max = 0.38559668, 0.36296446 and 0.33333333 at 20, 25 and
30 deg.

Solved cases. Fast model: a wall of 0.01 mm and 1 kPa, threads of 10 MN; its length is fixed during
inflation, then its end is moved. With a free end such a tube is a mechanism without stiffness at
rest; therefore the free contraction (2) is computed with a thick tube under 1000 times its shear
modulus. FE model: the tube of the other chapters (A = 6, B = 8 mm, 0.1 MPa, 20 outer radii long)
with 24 + 24 threads at +-25 deg, inflated to 20 kPa at fixed length, then shortened by 5 and
10 %; evaluated in its middle half, at the lambda there, because a tube shortens less near the
plates, which keep their radius.

Tolerances. Worked numbers: half a unit of the last digit. Fast model: 1e-4, of which the wall makes
1e-5 and the stretch of the threads 1e-5; 1e-3 of e_max, because of the stiffness of the wall. FE
model: 1 % of F, the project's limit; most of it comes from the wall, which bulges between the
threads.
"""

import math

import numpy as np
import pytest

from fem.case.case import Case
from fem.continuation.loading import AXIAL
from validation.check import Drawing, Quantity, at_most, draw, verify
from validation.exact import ExactTube
from validation.tubes import A, B, family, middle, solve_path, tube

SOURCE = "braid law, second-hand and re-derived"
SYMMETRY = "symmetry, common practice, no source"

P, R0 = 0.2, 8.0
FORCES = {0.0: 329.653896, 0.1: 224.242006, 0.2: 129.926104}
"""F (N) at 25 deg by contraction."""

FREE_CONTRACTION = {20: 0.38559668, 25: 0.36296446, 30: 0.33333333}
"""e_max by helix angle (deg)."""


def braid_force(pressure: float, radius: float, angle: float, contraction: float) -> float:
    """Return eq. (1) (N)."""
    theta = math.radians(angle)
    a, b = 3 / math.tan(theta) ** 2, 1 / math.sin(theta) ** 2
    return math.pi * pressure * radius**2 * (a * (1 - contraction) ** 2 - b)


def braid(angle: float) -> Case:
    """Return a tube whose wall is thin and soft compared with its threads."""
    pair = [family(angle, 24, 1e7, 1e-7), family(-angle, 24, 1e7, 1e-7, "B")]
    wall = {"law": "neo-Hookean", "shear_modulus": "1 kPa"}
    return tube(*pair, rubber=wall, length=100.0, radii=(R0 - 0.01, R0))


def test_worked_numbers() -> None:
    checks = [
        Quantity(f"eq. (1), e = {e}, F (N)", SOURCE, force, braid_force(P, R0, 25, e), 5e-7, 1.0)
        for e, force in FORCES.items()
    ]
    for angle, most in FREE_CONTRACTION.items():
        found = 1 - 1 / math.sqrt(3) / math.cos(math.radians(angle))
        checks.append(Quantity(f"eq. (2), {angle} deg, e_max", SOURCE, most, found, 5e-9, 1.0))
    verify(checks)


def test_force_over_contraction() -> None:
    held, loads = {"axial": "held"}, [2.0, 20.0, 1e3 * P]
    move = {"displacement": "-35 mm", "steps": 7}
    path = solve_path(braid(25).changed(end=held, move=move), loads, "fast")
    computed = {
        round(-s.conjugates[AXIAL] / 100, 9): float(s.loads[AXIAL]) for s in path.states[3:]
    }
    checks = [
        Quantity(f"25 deg, e = {e}, F (N)", SOURCE, force, computed[e], 1e-4)
        for e, force in FORCES.items()
    ]
    exact = [braid_force(P, R0, 25, e) for e in computed]
    curves = {
        "fast model": (list(computed), list(computed.values())),
        "eq. (1)": (list(computed), exact),
    }
    draw(Drawing("Braid at 25 deg, 0.2 MPa", "contraction", "force (N)", curves))
    verify([*path.tagged(*checks), *path.balance_checks("25 deg, moved")])


@pytest.mark.parametrize("angle", FREE_CONTRACTION)
def test_free_braid_shortens_by_the_free_contraction(angle: int) -> None:
    pair = [family(angle, 24, 1e7, 1e-6), family(-angle, 24, 1e7, 1e-6, "B")]
    case, what = tube(*pair), f"{angle} deg, free"
    path = solve_path(case, np.geomspace(1.0, 1e5, 51).tolist(), "fast")
    _, shift, turn = map(float, path.states[-1].conjugates)
    checks = path.tagged(
        Quantity(
            f"{what}, e_max", SOURCE, FREE_CONTRACTION[angle], -shift / case.tube.length, 1e-3
        ),
        at_most(f"{what}, twist (rad)", SYMMETRY, 1e-6, abs(turn)),
    )
    verify([*checks, *path.balance_checks(what)])


def test_fe_model() -> None:
    pair = [family(25, 24, 2e3, 1e-5), family(-25, 24, 2e3, 1e-5, "B")]
    move = {"displacement": "-16 mm", "steps": 2}
    case = tube(*pair).changed(end={"axial": "held"}, move=move)
    path, exact, checks = (
        solve_path(case, [10.0, 20.0], resolution="1x2x20"),
        ExactTube.of(case),
        [],
    )
    for state in path.states[2:]:
        found = middle(path.model, state.x)
        wall_pressure, wall_force, _ = exact.loads(found.a, found.stretch)
        thread_force = braid_force(state.pressure - wall_pressure, B, 25, 1 - found.stretch)
        short = -100 * state.conjugates[AXIAL] / case.tube.length
        what = f"25 deg, A/B = {A / B}, shortened by {short:.0f} %, F (N)"
        checks += path.tagged(
            Quantity(what, SOURCE, thread_force + wall_force, float(state.loads[AXIAL]), 1e-2)
        )
    verify([*checks, *path.balance_checks("25 deg, thick wall")])
