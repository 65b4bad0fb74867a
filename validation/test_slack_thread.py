r"""Slack: a thread longer than its helix has no effect until it engages; a short one pulls.

@misc{triangle,
  title = {Right triangles},
  note = {derived here, elementary},
}

@misc{statics,
  title = {Statics of tube and threads, eqs. (1) and (2) of validation/exact.py},
  note = {derived here},
}

A thread that is just taut at the helix angle alpha_c has at the angle alpha the slack

.. math:: s = \frac{\cos\alpha}{\cos\alpha_c} - 1, \qquad (1)

and its strain is e = m/(1 + s) - 1 where its path on the tube is m times that at rest; it engages
at m = 1 + s.

Worked numbers: L = 100, R = 8 mm: at 60 deg the thread is 200 mm long and the ring angle is
21.65063509 rad, at 30 deg 115.47005384 mm and 7.21687836 rad; cut at 60 and set to 55 deg,
s = +0.14715287, the ring angle is 3.79878501 rad smaller; set to 65 deg, s = -0.15476348.

Tolerances. Worked numbers 1e-8, to their last digit. A slack thread has a tension of exactly 0, and
energy and forces are those of the bare tube up to the order of summation: 1e-12. Along the path
both have the tolerance of Newton's method, 1e-8 of a force scale: 1e-6 of each conjugate
displacement. The fast model's strain follows from m of the exact kinematics to 1e-6, and the thread
engages between two states of the path. The length of a sliding thread of the FE model, measured as
a polygon, is known to 1e-3; a bonded thread engages segment by segment, more than half of it by
15 kPa, because it is slack near the plates. A prestressed tube satisfies statics to 1e-6, that of
the FE model to 0.2 % in its middle half, because of the rubber's compressibility, as in
`test_blocked_ends.py`; pressure is relative to the shear modulus. The effects must be large enough
to be seen: the volume of the tube with slack threads must grow by a fifth, and short threads must
move its end by 0.01 mm or rotate it by 0.01 rad, a thousand times the tolerance of Newton's method.
"""

from typing import Any

import numpy as np
import pytest

from fem.case.case import Case
from fem.continuation.loading import AXIAL, PRESSURE
from validation.check import Quantity, at_most, verify
from validation.exact import ExactActuator
from validation.kinds import Kind
from validation.tubes import MU, B, SolvedPath, family, middle, solve_path, tube

TRIANGLE = "right triangle, elementary"
STATICS = "statics of tube and threads, derived here"
NO_EFFECT = "a slack thread has no effect, elementary"


def slack(angle: float, rule: str, hold: str = "bonded", count: int = 12) -> Any:
    """Return a family with a slack rule."""
    return family(angle, count, 500.0, 1e-3) | {"slack": rule, "hold": hold}


def test_worked_numbers() -> None:
    def helix(angle: float, cut: float | None = None) -> tuple[Any, Any]:
        rule = f"cut at {cut!r} deg" if cut else "taken up"
        case = tube(slack(angle, rule), length=100.0)
        return case.threads[0], case.threads[0].helix(case.tube)

    (_, at_30), (_, at_60) = helix(30), helix(60)
    (from_60, at_55), (up_to_60, at_65) = helix(55, 60), helix(65, 60)
    verify(
        Quantity(name, TRIANGLE, expected, computed, 1e-8, max(abs(expected), 1.0), by="both")
        for name, expected, computed in [
            ("30 deg, length (mm)", 115.47005384, at_30.length),
            ("60 deg, length (mm)", 200.0, at_60.length),
            ("30 deg, ring turn (rad)", 7.21687836, at_30.ring_turn),
            ("60 deg, ring turn (rad)", 21.65063509, at_60.ring_turn),
            ("60 to 55 deg, ring turn (rad)", 3.79878501, at_60.ring_turn - at_55.ring_turn),
            ("cut at 60, set to 55 deg, slack", 0.14715287, from_60.slack_strain),
            ("cut at 60, set to 65 deg, slack", -0.15476348, up_to_60.slack_strain),
            ("cut at 60, set to 55 deg, length (mm)", 200.0, from_60.natural(at_55.length)),
            ("cut at 60, set to 65 deg, length (mm)", 200.0, up_to_60.natural(at_65.length)),
        ]
    )


# --- before a thread engages -------------------------------------------------------------------


LOOSE_LENGTH = 80.0
"""Length of the tube with slack threads (mm)."""


def loose(hold: str, ends: Any) -> tuple[Case, Case]:
    """Return a tube with threads that do not engage up to 12 kPa, and the bare tube."""
    threads = [slack(30, "20 %", hold), slack(-55, "cut at 70 deg", hold) | {"name": "B"}]
    return (
        tube(*threads, length=LOOSE_LENGTH).changed(end=ends),
        tube(length=LOOSE_LENGTH).changed(end=ends),
    )


ENDS: dict[str, Any] = {"free": {}, "loaded": {"force": "1 N", "torque": "5 N mm"}}


def no_effect(what: str, path: SolvedPath, bare: SolvedPath, at: int) -> list[Quantity]:
    """Return the checks that in one state the threads of a tube have no effect."""
    state, other, model = path.states[at], bare.states[at], path.model
    x, loads = state.x, state.loads
    residuals = [one.internal_force(x) - one.load_vectors(x) @ loads for one in (model, bare.model)]
    size = np.abs(model.load_vectors(x) @ loads).max() or 1.0
    left = np.abs(residuals[0] - residuals[1]).max() / size
    tension = max(threads.peak for threads in model.tube_values(x).threads)
    energy, bare_energy = model.energy(x), bare.model.energy(x)
    conjugates = zip(
        ("V (mm3)", "displacement (mm)", "twist (rad)"),
        other.conjugates,
        state.conjugates,
        (other.conjugates[PRESSURE], LOOSE_LENGTH, 1.0),
        strict=True,
    )
    return path.tagged(
        at_most(f"{what}, tension (N)", NO_EFFECT, 0.0, tension),
        at_most(f"{what}, forces of the threads", NO_EFFECT, 1e-12, left, Kind.TENSION),
        Quantity(f"{what}, energy (N mm)", NO_EFFECT, bare_energy, energy, 1e-12, bare_energy or 1),
        *(Quantity(f"{what}, {name}", NO_EFFECT, e, c, 1e-6, s) for name, e, c, s in conjugates),
    )


@pytest.mark.parametrize("ends", ENDS)
@pytest.mark.parametrize("hold", ["bonded", "sliding"])
@pytest.mark.parametrize("model", ["fast", "fe"])
def test_slack_threads_have_no_effect(model: str, hold: str, ends: str) -> None:
    threaded, bare = (
        solve_path(case, [4.0, 8.0, 12.0], model, "1x2x10") for case in loose(hold, ENDS[ends])
    )
    setting = f"{hold}, {ends}"
    checks = threaded.balance_checks(f"{setting}, with slack threads")
    for at, (state, _) in enumerate(zip(threaded.states, bare.states, strict=True)):
        checks += no_effect(f"{setting}, {state.pressure * 1e3:.0f} kPa", threaded, bare, at)
    first, last = (threaded.states[at].conjugates[PRESSURE] for at in (0, -1))
    name = f"{setting}, volume at rest over that at 12 kPa"
    grown = at_most(name, NO_EFFECT, 1 / 1.2, first / last, Kind.MAGNITUDE)
    verify([*checks, *threaded.tagged(grown)])


ENGAGING = [6.0, 9.0, 10.0, 10.5, 11.0, 11.5, 12.0, 13.0, 15.0]


def test_thread_engages_where_its_path_is_long_enough() -> None:
    case = tube(slack(70, "8 %"), length=80.0)
    path, exact = solve_path(case, ENGAGING, "fast"), ExactActuator.of(case)
    checks = path.balance_checks("70 deg, 8 %")
    ratios: dict[bool, list[float]] = {True: [], False: []}
    for state in path.states:
        (values,) = path.model.tube_values(state.x).threads
        ((ratio, _),) = exact.thread_kinematics(*path.model.kinematic(state.x))
        what = f"70 deg, 8 %, {state.pressure * 1e3:.1f} kPa, strain of the thread"
        strain = Quantity(what, TRIANGLE, ratio / 1.08 - 1, values.strain, 1e-6, 1.0)
        checks += path.tagged(strain)
        ratios[values.tension > 0].append(ratio)
    engaging = engages("70 deg, 8 %", max(ratios[False]), min(ratios[True]), 0.0)
    verify([*checks, *path.tagged(*engaging)])


def engages(what: str, before: float, beyond: float, error: float) -> list[Quantity]:
    """Return the checks that m is at most 1.08 while slack, and at least 1.08 when taut."""
    return [
        at_most(f"{what}, largest m while slack", TRIANGLE, 1.08 + error, before, Kind.TREND),
        at_most(
            f"{what}, 1.08 over the smallest m when taut",
            TRIANGLE,
            1 / (1 - error / 1.08),
            1.08 / beyond,
            Kind.TREND,
        ),
    ]


@pytest.mark.parametrize("hold", ["bonded", "sliding"])
def test_fe_thread_engages_where_its_path_is_long_enough(hold: str) -> None:
    """A sliding thread's path is measured as a polygon; a bonded one engages segment by segment."""
    case = tube(slack(70, "8 %", hold), length=80.0)
    path = solve_path(case, ENGAGING, resolution="1x3x20" if hold == "sliding" else "1x2x10")
    (threads,), shares, lengths = path.model.threads, [], []
    for state in path.states:
        steps = np.diff(threads.positions(path.model.tube.evaluate(state.x)), axis=1)
        lengths.append(np.linalg.norm(steps, axis=2).sum())
        shares.append(path.model.segments(state.x)[0].taut_fraction)
    what = f"70 deg, 8 %, {hold}"
    drop = max(0.0, -float(np.diff(shares).min()))
    checks = [
        at_most(f"{what}, taut fraction at rest", TRIANGLE, 0, shares[0], Kind.TREND),
        at_most(f"{what}, slack fraction at 15 kPa", TRIANGLE, 0.5, 1 - shares[-1], Kind.TREND),
        at_most(f"{what}, largest drop of the taut fraction", TRIANGLE, 0, drop, Kind.TREND),
    ]
    if hold == "sliding":
        ratios, first = np.array(lengths) / lengths[0], shares.index(1.0)
        partly = sum(0 < share < 1 for share in shares)
        checks += [
            at_most(f"{what}, states where it is partly taut", TRIANGLE, 0, partly, Kind.TREND),
            *engages(what, ratios[first - 1], ratios[first], 1e-3),
        ]
    verify([*path.tagged(*checks), *path.balance_checks(what)])


# --- negative slack -----------------------------------------------------------------------------

SHORT = {
    "60 deg, cut at 58": [slack(60, "cut at 58 deg", count=24)],
    "30 deg, cut at 25": [slack(30, "cut at 25 deg", count=24)],
    "both hands": [
        slack(30, "cut at 28 deg", count=24),
        slack(-30, "cut at 28 deg", count=24) | {"name": "B"},
    ],
}


def prestressed(what: str, path: SolvedPath, share: float) -> list[Quantity]:
    """Return the checks against statics of all states of a tube with short threads."""
    case, model = path.model.case, path.model
    exact, checks = ExactActuator.of(case), []
    for state in path.states:
        mid = middle(model, state.x)
        pulls = mid.pull if model.name == "fe" else exact.pulls(*mid.deformation)
        pressure, force, torque = exact.loads(*mid.deformation, pulls)
        size = sum(pulls) + abs(state.loads[AXIAL])
        at = f"{what}, {state.pressure * 1e3:.0f} kPa"
        checks += path.tagged(
            Quantity(f"{at}, P (MPa)", STATICS, pressure, state.pressure, share, MU),
            Quantity(f"{at}, F (N)", STATICS, force, 0.0, share, size),
            Quantity(f"{at}, M (N mm)", STATICS, torque, 0.0, share, size * B),
            at_most(
                f"{at}, number of slack families",
                STATICS,
                0,
                sum(p <= 0 for p in pulls),
                Kind.TREND,
            ),
        )
    return checks


def at_rest(what: str, path: SolvedPath) -> list[Quantity]:
    """Return the checks that short threads move the end of a tube without pressure."""
    first = path.states[0]
    moved = np.abs(first.conjugates[AXIAL:]).max()
    return path.tagged(
        at_most(f"{what}, first state, P (MPa)", STATICS, 0.0, abs(first.pressure)),
        at_most(
            f"{what}, P = 0, 0.01 over w (mm) or phi (rad)",
            STATICS,
            1.0,
            0.01 / moved,
            Kind.MAGNITUDE,
        ),
        at_most(f"{what}, P = 0, unstable states", STATICS, 0, not first.stable),
    )


@pytest.mark.parametrize("threads", SHORT)
def test_short_threads_are_taut_without_pressure(threads: str) -> None:
    case = tube(*SHORT[threads])
    fast, fe = (
        solve_path(case, [4.0, 8.0], "fast"),
        solve_path(case, [4.0, 8.0], resolution="1x2x20"),
    )
    verify(
        [
            *at_rest(threads, fast),
            *at_rest(threads, fe),
            *prestressed(threads, fast, 1e-6),
            *prestressed(threads, fe, 2e-3),
            *fast.balance_checks(threads),
            *fe.balance_checks(threads),
        ]
    )


def test_short_threads_on_a_blocked_tube_keep_their_strain() -> None:
    """On a blocked tube with a stiff wall the strain is that of the missing length."""
    ratio = 1 / (1 - 0.15476348)
    wall = {"law": "neo-Hookean", "shear_modulus": "1 GPa"}
    soft = slack(65, "cut at 60 deg") | {"stiffness": "0.5 N"}
    case = tube(soft, rubber=wall, length=100.0).changed(end={"axial": "held", "twist": "held"})
    path = solve_path(case, [0.001], "fast")
    (values,) = path.model.tube_values(path.states[0].x).threads
    expected = ratio - 1
    tension = 0.5 * (expected - 1e-3 / 2)
    verify(
        path.tagged(
            Quantity("blocked, strain of the thread", TRIANGLE, expected, values.strain, 1e-4),
            Quantity("blocked, tension (N)", TRIANGLE, tension, values.tension, 1e-4),
        )
    )
