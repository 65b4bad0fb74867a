r"""Ends that are fixed, loaded or on springs: both models compared with closed forms and statics.

@article{bruder2018,
  author = {D. Bruder and others},
  title = {Force generation by parallel combinations of fiber-reinforced fluid-driven actuators},
  journal = {IEEE Robotics and Automation Letters},
  volume = {3}, number = {4}, pages = {3999--4006}, year = {2018},
  eprint = {1805.00124},
  note = {derived here from virtual work; only the abstract of the paper was seen},
}

@article{evans2002,
  author = {J. T. Evans and A. G. Gibson},
  title = {Composite angle ply laminates and netting analysis},
  journal = {Proc. R. Soc. A},
  volume = {458}, pages = {3079--3088}, year = {2002},
  note = {from memory, re-derived; page not seen},
}

@misc{statics,
  title = {Hooke's law of a thin tube; statics, eqs. (1) and (2) of validation/exact.py},
  note = {derived here},
}

Fully blocked, with one family of inextensible threads on the radius B, the wall cannot strain and
transmits the pressure to the threads. With V the enclosed volume, P dV = F dw + M dphi gives the
loads that the grips exert (F > 0 in tension, M > 0 right-handed),

.. math:: F = \pi P B^2 (2 \cot^2\alpha - 1), \quad M = 2\pi P B^3 \cot\alpha, \quad
          n T = 2\pi P B^2 \cos\alpha/\sin^2\alpha. \qquad (1)

Two families at opposite angles share the tension and need no torque.

One family on a thin tube of radius r and modulus E, with fixed length and free to rotate, at small
strain, with t = tan(alpha):

.. math:: F = \pi r^2 P \frac{2 - t^2}{4 + t^2}, \quad
          \epsilon_\theta = \frac{3 P r}{E h (4 + t^2)}, \quad
          r \psi = -t\,\epsilon_\theta. \qquad (2)

All else is compared with statics: the loads P, F and M of the computed state (a, lambda, psi).

Worked numbers: eq. (1) for B = 8 mm, P = 20 kPa: at 30 deg 20.10619298 N, 111.43983294 N mm,
27.85995823 N; at 70 deg -2.95581681 N, 23.41777846 N mm, 3.11508492 N. Eq. (2): F/(pi r^2 P) is
0.38461538 at 30 deg and -0.14285714 at 60 deg.

Tolerances. Worked numbers to their last digit, 1e-8. Fast model: 1e-5 in (1) for threads of 10 MN
each, which stretch by 1e-7 while the wall takes the same fraction of the load; 1e-3 in (2), which
neglects the wall's thickness h = r/10000; 1e-6 against statics, for two evaluations of one exact
formula. FE model, on a tube of 20 outer radii with 24 threads: 1 % of (1), because between threads
the wall bulges slightly (by 0.06 mm at 30 deg), which reduces the values by 0.3 %. Loads on its end
against statics of its middle half: 0.2 %, of which the rubber's compressibility of 1/1000 makes
0.05 to 0.1 %. Statics uses the tension of the threads from the FE model: a thread 0.01 mm deeper
than the mean radius has up to 8 % less tension where its strain is at most 1e-3.
"""

import math
from typing import Any

import numpy as np
import pytest

from fem.case.case import Case
from fem.continuation.load_steps import loading_of
from fem.continuation.loading import AXIAL, PRESSURE, TWIST
from fem.continuation.newton import BorderedSystem, evaluate
from fem.fast.model import FastModel
from validation.check import Quantity, tagged, verify
from validation.exact import ExactActuator
from validation.kinds import Kind
from validation.tubes import MOONEY_RIVLIN, B, family, middle, solve_path, tube

NETTING = "virtual work on netting, formula from memory, re-derived"
THIN = "Hooke's law of a thin tube, derived here"
STATICS = "statics of tube and threads, derived here"

BLOCKED = {"axial": "held", "twist": "held"}
PRESSURE_BLOCKED = 20.0

BLOCKED_LOADS = {
    30: (20.10619298, 111.43983294, 27.85995823),
    70: (-2.95581681, 23.41777846, 3.11508492),
}
"""(F in N, M in N mm, n T in N) by helix angle (deg) at 20 kPa."""


def blocked_loads(angle: float) -> tuple[float, float, float]:
    """Return eq. (1)."""
    alpha, pressure = math.radians(angle), PRESSURE_BLOCKED / 1e3
    cot = 1 / math.tan(alpha)
    return (
        math.pi * pressure * B**2 * (2 * cot**2 - 1),
        2 * math.pi * pressure * B**3 * cot,
        2 * math.pi * pressure * B**2 * math.cos(alpha) / math.sin(alpha) ** 2,
    )


def compare(
    what: str, expected: tuple[float, ...], computed: tuple[float, ...], share: float
) -> list[Quantity]:
    """Return the checks of F, M and n T of each family."""
    names = ["F (N)", "M (N mm)", "n T (N)", "n T of B (N)"][: len(expected)]
    return [
        Quantity(f"{what}, {name}", NETTING, e, c, share, e or expected[0] * B)
        for name, e, c in zip(names, expected, computed, strict=True)
    ]


def blocked(model: str, *families: Any, resolution: str = "1x2x20") -> tuple[Any, Any]:
    """Return path and (F, M, n T of each family) of a blocked tube at 20 kPa."""
    case = tube(*families).changed(end=BLOCKED)
    path = solve_path(case, [PRESSURE_BLOCKED / 2, PRESSURE_BLOCKED], model, resolution)
    last = path.states[-1]
    return path, (*last.loads[[AXIAL, TWIST]], *middle(path.model, last.x).pull)


def test_worked_numbers() -> None:
    checks = []
    for angle, row in BLOCKED_LOADS.items():
        checks += compare(f"{angle} deg", row, blocked_loads(angle), 1e-8)
    verify(checks)


@pytest.mark.parametrize("angle", BLOCKED_LOADS)
def test_one_family_blocked(angle: int) -> None:
    fast, loads = blocked("fast", family(angle, 24, 1e7, 1e-7))
    fe, fe_loads = blocked("fe", family(angle, 24, 1e5, 1e-5))
    verify(
        [
            *fast.tagged(*compare(f"{angle} deg", BLOCKED_LOADS[angle], loads, 1e-5)),
            *fe.tagged(*compare(f"{angle} deg", BLOCKED_LOADS[angle], fe_loads, 1e-2)),
            *fast.balance_checks(f"{angle} deg"),
            *fe.balance_checks(f"{angle} deg"),
        ]
    )


@pytest.mark.parametrize("angle", BLOCKED_LOADS)
def test_two_families_blocked(angle: int) -> None:
    force, _, pull = BLOCKED_LOADS[angle]
    expected = (force, 0.0, pull / 2, pull / 2)
    pair = [family(angle, 24, 1e7, 1e-7), family(-angle, 24, 1e7, 1e-7, "B")]
    fast, loads = blocked("fast", *pair)
    softer = [family(angle, 24, 1e5, 1e-5), family(-angle, 24, 1e5, 1e-5, "B")]
    fe, fe_loads = blocked("fe", *softer)
    verify(
        [
            *fast.tagged(*compare(f"+-{angle} deg", expected, loads, 1e-5)),
            *fe.tagged(*compare(f"+-{angle} deg", expected, fe_loads, 1e-2)),
            *fast.balance_checks(f"+-{angle} deg"),
            *fe.balance_checks(f"+-{angle} deg"),
        ]
    )


@pytest.mark.parametrize(("angle", "share"), [(30, 0.38461538), (60, -0.14285714)])
def test_thin_tube_of_held_length(angle: int, share: float) -> None:
    """The initial slope of the path, for small pressure."""
    radius, wall = 7.0, 7e-4
    case = tube(family(angle, 24, 1e6, 1e-6), radii=(radius - wall / 2, radius + wall / 2)).changed(
        end={"axial": "held"}
    )
    model, loading = FastModel(case), loading_of(case)
    trial = evaluate(model, loading, model.rest(), np.zeros(3))
    slope, loads = BorderedSystem(model, loading, trial).solve(np.zeros(3), np.eye(3)[PRESSURE])
    bore, _, psi = model.kinematic(slope) - model.kinematic(model.rest())
    t, E = math.tan(math.radians(angle)), 3 * case.rubber.constitutive_law.shear_modulus
    hoop = 3 * radius / (E * wall * (4 + t**2))
    what, pull = f"thin, {angle} deg", loads[AXIAL] / np.pi / radius**2
    checks = [
        Quantity(f"{what}, F/(pi r^2 P)", THIN, share, pull, 1e-3),
        Quantity(f"{what}, 1 MPa, hoop strain", THIN, hoop, bore / radius, 1e-3),
        Quantity(f"{what}, 1 MPa, r psi", THIN, -t * hoop, radius * psi, 1e-3, kind=Kind.TWIST),
    ]
    formula = (2 - t**2) / (4 + t**2)
    worked = Quantity(f"{what}, eq. (2), F/(pi r^2 P)", THIN, share, formula, 1e-8, 1.0)
    verify([worked, *tagged(model, checks)])


# --- any end, any threads -----------------------------------------------------------------------

ENDS: dict[str, dict[str, Any]] = {
    "free": {},
    "fixed length": {"axial": "held"},
    "no twist": {"twist": "held"},
    "blocked": BLOCKED,
    "loaded": {"force": "2 N", "torque": "-15 N mm"},
    "on springs": {"axial_spring": "0.3 N/mm", "twist_spring": "30 N mm/rad"},
}

THREADS = {
    "bare": [],
    "30 deg": [family(30, 24, 500.0, 1e-3)],
    "70 deg": [family(70, 24, 500.0, 1e-3)],
    "+-30 deg": [family(30, 24, 500.0, 1e-3), family(-30, 24, 500.0, 1e-3, "B")],
    "20 and -35 deg": [family(20, 24, 500.0, 1e-3), family(-35, 24, 200.0, 1e-2, "B")],
    "slack": [family(30, 24, 500.0, 1e-3) | {"slack": "2 %"}],
}


LOADS = [8.0, 16.0]
"""Pressures (kPa)."""


def statics(
    what: str,
    case: Case,
    deformation: tuple[float, float, float],
    loads: Any,
    shares: list[float],
    pulls: list[float] | None = None,
) -> list[Quantity]:
    """Return the checks of P, F and M of a deformation (a, lambda, psi).

    The scale of forces is the sum of thrust, tension of the threads and applied force: where the
    end is free, F and M are zero. Computed `pulls` of the families replace the exact ones.
    """
    exact = ExactActuator.of(case)
    expected = exact.loads(*deformation, pulls)
    thrust = loads[PRESSURE] * math.pi * deformation[0] ** 2
    force = thrust + sum(exact.pulls(*deformation)) + abs(loads[AXIAL])
    scales = (expected[0], force, force * B)
    return [
        Quantity(f"{what}, {name}", STATICS, e, c, share, scale)
        for name, e, c, share, scale in zip(
            ("P (MPa)", "F (N)", "M (N mm)"), expected, loads, shares, scales, strict=True
        )
    ]


@pytest.mark.parametrize("threads", THREADS)
@pytest.mark.parametrize("end", ENDS)
def test_fast_model_obeys_statics(end: str, threads: str) -> None:
    case = tube(*THREADS[threads], rubber=MOONEY_RIVLIN).changed(end=ENDS[end])
    path = solve_path(case, LOADS, "fast")
    checks = path.balance_checks(f"Mooney-Rivlin, {end}, {threads}")
    for state in path.states[1:]:
        what = f"Mooney-Rivlin, {end}, {threads}, {state.pressure * 1e3:.0f} kPa"
        place = path.model.kinematic(state.x)
        checks += path.tagged(*statics(what, case, place, state.loads, [1e-6] * 3))
    verify(checks)


@pytest.mark.parametrize(
    ("end", "threads"),
    [
        ("fixed length", "bare"),
        ("fixed length", "30 deg"),
        ("no twist", "30 deg"),
        ("blocked", "20 and -35 deg"),
        ("loaded", "70 deg"),
        ("on springs", "slack"),
    ],
)
def test_fe_model_obeys_statics(end: str, threads: str) -> None:
    case = tube(*THREADS[threads]).changed(end=ENDS[end])
    path = solve_path(case, LOADS, resolution="1x2x20")
    checks = path.balance_checks(f"{end}, {threads}")
    for state in path.states[1:]:
        found = middle(path.model, state.x)
        what = f"{end}, {threads}, {state.pressure * 1e3:.0f} kPa"
        checks += path.tagged(
            *statics(what, case, found.deformation, state.loads, [2e-3] * 3, found.pull)
        )
    verify(checks)
