r"""Slack: a thread longer than its helix does nothing until it engages; one cut too short pulls.

@misc{triangle,
  title = {Right triangles},
  note = {derived here, elementary},
}

@misc{statics,
  title = {Statics of tube and threads, eqs. (1) and (2) of validation/exact.py},
  note = {derived here},
}

A thread cut just taut at the helix angle alpha_c and wound at
alpha has the slack

.. math:: s = \frac{\cos\alpha}{\cos\alpha_c} - 1, \qquad (1)

and where its path on the tube is m times that at rest its strain is e = m/(1 + s) - 1; it engages
at m = 1 + s.

Worked numbers: L = 100, R = 8 mm: at 60 deg the thread is 200 mm long and the ring has turned by
21.65063509 rad, at 30 deg 115.47005384 mm and 7.21687836 rad; cut at 60 and wound at 55 deg,
s = +0.14715287, the ring turned by 3.79878501 rad less; wound at 65 deg, s = -0.15476348.

Tolerances. Worked numbers 1e-8, as far as their digits go. A slack thread has a tension of exactly
0, and energy and forces are those of the bare tube but for the order of sums: 1e-12. Along the path
both end where Newton's method does, at 1e-8 of a force scale: 1e-6 of each coordinate. The fast
model's strain follows from m of the exact kinematics to 1e-6, and it engages between two states of
the path. A sliding thread of the FE model, measured by its chords, is known to 1e-3 of its length;
a bonded one engages piece by piece, more than half of it by 15 kPa, for near the plates it is
slack. A pre-tensioned tube obeys statics to 1e-6, that of the FE model to 0.2 % in its middle half,
for the rubber's compressibility, as in `test_blocked_ends.py`; pressure is held against the shear
modulus. So that there is something to see, the tube with slack threads must grow by a fifth of its
volume, and short threads must move its end by 0.01 mm or turn it by 0.01 rad, a thousand times what
Newton's method leaves.
"""

from typing import Any

import numpy as np
import pytest

from fem.case.case import Case
from fem.continuation.loading import AXIAL, PRESSURE
from validation.check import Quantity, at_most, verify
from validation.exact import ExactActuator
from validation.tubes import MU, B, Walk, family, middle, tube, walk

TRIANGLE = "right triangle, elementary"
STATICS = "statics of tube and threads, derived here"
ABSENT = "a slack thread does nothing"


def slack(angle: float, rule: str, hold: str = "bonded", count: int = 12) -> Any:
    """Return a family with a rule for its slack."""
    return family(angle, count, 500.0, 1e-3) | {"slack": rule, "hold": hold}


def test_worked_numbers() -> None:
    def wound(angle: float, cut: float | None = None) -> tuple[Any, Any]:
        rule = f"cut at {cut!r} deg" if cut else "taken up"
        case = tube(slack(angle, rule), length=100.0)
        return case.threads[0], case.threads[0].helix(case.tube)

    (_, at_30), (_, at_60) = wound(30), wound(60)
    (from_60, at_55), (up_to_60, at_65) = wound(55, 60), wound(65, 60)
    verify(
        Quantity(name, TRIANGLE, expected, computed, 1e-8, max(abs(expected), 1.0), by="both")
        for name, expected, computed in [
            ("length at 30 deg (mm)", 115.47005384, at_30.length),
            ("length at 60 deg (mm)", 200.0, at_60.length),
            ("ring turn at 30 deg (rad)", 7.21687836, at_30.ring_turn),
            ("ring turn at 60 deg (rad)", 21.65063509, at_60.ring_turn),
            ("ring turn from 60 to 55 deg (rad)", 3.79878501, at_60.ring_turn - at_55.ring_turn),
            ("slack, cut at 60, wound at 55 deg", 0.14715287, from_60.slack_strain),
            ("slack, cut at 60, wound at 65 deg", -0.15476348, up_to_60.slack_strain),
            (
                "natural length, cut at 60, wound at 55 deg (mm)",
                200.0,
                from_60.natural(at_55.length),
            ),
            (
                "natural length, cut at 60, wound at 65 deg (mm)",
                200.0,
                up_to_60.natural(at_65.length),
            ),
        ]
    )


# --- before it engages --------------------------------------------------------------------------


LOOSE_LENGTH = 80.0
"""Length of the tube with slack threads (mm)."""


def loose(hold: str, ends: Any) -> tuple[Case, Case]:
    """Return a tube with threads so slack that 12 kPa do not engage them, and the bare tube."""
    threads = [slack(30, "20 %", hold), slack(-55, "cut at 70 deg", hold) | {"name": "B"}]
    return (
        tube(*threads, length=LOOSE_LENGTH).changed(end=ends),
        tube(length=LOOSE_LENGTH).changed(end=ends),
    )


ENDS: dict[str, Any] = {"free": {}, "loaded": {"force": "1 N", "torque": "5 N mm"}}


def absent(what: str, path: Walk, bare: Walk, at: int) -> list[Quantity]:
    """Return the checks that in one state the threads of a tube do nothing."""
    state, other, model = path.states[at], bare.states[at], path.model
    x, loads = state.x, state.loads
    residuals = [one.internal_force(x) - one.load_vectors(x) @ loads for one in (model, bare.model)]
    size = np.abs(model.load_vectors(x) @ loads).max() or 1.0
    left = np.abs(residuals[0] - residuals[1]).max() / size
    tension = max(threads.peak for threads in model.tube_values(x).threads)
    energy, bare_energy = model.energy(x), bare.model.energy(x)
    conjugates = zip(
        ("volume (mm3)", "shift (mm)", "turn (rad)"),
        other.conjugates,
        state.conjugates,
        (other.conjugates[PRESSURE], LOOSE_LENGTH, 1.0),
        strict=True,
    )
    return path.found(
        at_most(f"{what}, tension (N)", ABSENT, 0.0, tension),
        at_most(f"{what}, forces of the threads", ABSENT, 1e-12, left),
        Quantity(f"{what}, energy (N mm)", ABSENT, bare_energy, energy, 1e-12, bare_energy or 1),
        *(Quantity(f"{what}, {name}", ABSENT, e, c, 1e-6, s) for name, e, c, s in conjugates),
    )


@pytest.mark.parametrize("ends", ENDS)
@pytest.mark.parametrize("hold", ["bonded", "sliding"])
@pytest.mark.parametrize("model", ["fast", "fe"])
def test_slack_threads_are_absent(model: str, hold: str, ends: str) -> None:
    threaded, bare = (
        walk(case, [4.0, 8.0, 12.0], model, "1x2x10") for case in loose(hold, ENDS[ends])
    )
    setting = f"{hold}, {ends}"
    checks = threaded.balance(f"{setting}, with slack threads")
    for at, (state, _) in enumerate(zip(threaded.states, bare.states, strict=True)):
        checks += absent(f"{setting}, {state.pressure * 1e3:.0f} kPa", threaded, bare, at)
    first, last = (threaded.states[at].conjugates[PRESSURE] for at in (0, -1))
    name = f"{setting}, volume at rest over that at 12 kPa"
    verify([*checks, *threaded.found(at_most(name, ABSENT, 1 / 1.2, first / last))])


ENGAGING = [6.0, 9.0, 10.0, 10.5, 11.0, 11.5, 12.0, 13.0, 15.0]


def test_thread_engages_where_its_path_is_long_enough() -> None:
    case = tube(slack(70, "8 %"), length=80.0)
    path, exact = walk(case, ENGAGING, "fast"), ExactActuator.of(case)
    checks = path.balance("70 deg, 8 %")
    ratios: dict[bool, list[float]] = {True: [], False: []}
    for state in path.states:
        (seen,) = path.model.tube_values(state.x).threads
        ((ratio, _),) = exact.courses(*path.model.kinematic(state.x))
        what = f"strain at {state.pressure * 1e3:.1f} kPa"
        strain = Quantity(what, TRIANGLE, ratio / 1.08 - 1, seen.strain, 1e-6, 1.0)
        checks += path.found(strain)
        ratios[seen.tension > 0].append(ratio)
    engaging = engages("70 deg, 8 %", max(ratios[False]), min(ratios[True]), 0.0)
    verify([*checks, *path.found(*engaging)])


def engages(what: str, before: float, beyond: float, error: float) -> list[Quantity]:
    """Return the checks that m is at most 1.08 while it is slack and at least that when taut."""
    return [
        at_most(f"{what}, greatest m while slack", TRIANGLE, 1.08 + error, before),
        at_most(
            f"{what}, 1.08 over the least m when taut",
            TRIANGLE,
            1 / (1 - error / 1.08),
            1.08 / beyond,
        ),
    ]


@pytest.mark.parametrize("hold", ["bonded", "sliding"])
def test_fe_thread_engages_where_its_path_is_long_enough(hold: str) -> None:
    """A sliding thread's path is measured as a polygon; a bonded one engages piece by piece."""
    case = tube(slack(70, "8 %", hold), length=80.0)
    path = walk(case, ENGAGING, resolution="1x3x20" if hold == "sliding" else "1x2x10")
    (threads,), shares, lengths = path.model.threads, [], []
    for state in path.states:
        steps = np.diff(threads.positions(path.model.tube.evaluate(state.x)), axis=1)
        lengths.append(np.linalg.norm(steps, axis=2).sum())
        shares.append(path.model.segments(state.x)[0].taut_fraction)
    what = f"70 deg, 8 %, {hold}"
    falls = max(0.0, -float(np.diff(shares).min()))
    checks = [
        at_most(f"{what}, share that is taut at rest", TRIANGLE, 0, shares[0]),
        at_most(f"{what}, share that is slack at 15 kPa", TRIANGLE, 0.5, 1 - shares[-1]),
        at_most(f"{what}, greatest fall of the taut share under pressure", TRIANGLE, 0, falls),
    ]
    if hold == "sliding":
        ratios, first = np.array(lengths) / lengths[0], shares.index(1.0)
        partly = sum(0 < share < 1 for share in shares)
        checks += [
            at_most(f"{what}, states where it is taut in part", TRIANGLE, 0, partly),
            *engages(what, ratios[first - 1], ratios[first], 1e-3),
        ]
    verify([*path.found(*checks), *path.balance(what)])


# --- negative slack -----------------------------------------------------------------------------

SHORT = {
    "60 deg, cut at 58": [slack(60, "cut at 58 deg", count=24)],
    "30 deg, cut at 25": [slack(30, "cut at 25 deg", count=24)],
    "both hands": [
        slack(30, "cut at 28 deg", count=24),
        slack(-30, "cut at 28 deg", count=24) | {"name": "B"},
    ],
}


def pretension(what: str, path: Walk, share: float) -> list[Quantity]:
    """Return the checks of all states of a tube with short threads against statics."""
    case, model = path.model.case, path.model
    exact, checks = ExactActuator.of(case), []
    for state in path.states:
        seen = middle(model, state.x)
        pulls = seen.pull if model.name == "fe" else exact.pulls(*seen.place)
        pressure, force, torque = exact.loads(*seen.place, pulls)
        size = sum(pulls) + abs(state.loads[AXIAL])
        at = f"{what}, {state.pressure * 1e3:.0f} kPa"
        checks += path.found(
            Quantity(f"{at}, P (MPa)", STATICS, pressure, state.pressure, share, MU),
            Quantity(f"{at}, F (N)", STATICS, force, 0.0, share, size),
            Quantity(f"{at}, M (N mm)", STATICS, torque, 0.0, share, size * B),
            at_most(f"{at}, threads that are slack", STATICS, 0, sum(p <= 0 for p in pulls)),
        )
    return checks


def at_rest(what: str, path: Walk) -> list[Quantity]:
    """Return the checks that short threads have moved the end of a tube without pressure."""
    first = path.states[0]
    moved = np.abs(first.conjugates[AXIAL:]).max()
    return path.found(
        at_most(f"{what}, P of the first state (MPa)", STATICS, 0.0, abs(first.pressure)),
        at_most(f"{what}, 0.01 over w (mm) or phi (rad) at P = 0", STATICS, 1.0, 0.01 / moved),
        at_most(f"{what}, unstable at P = 0 (0 or 1)", STATICS, 0, not first.stable),
    )


@pytest.mark.parametrize("threads", SHORT)
def test_short_threads_pull_at_rest(threads: str) -> None:
    case = tube(*SHORT[threads])
    fast, fe = walk(case, [4.0, 8.0], "fast"), walk(case, [4.0, 8.0], resolution="1x2x20")
    verify(
        [
            *at_rest(threads, fast),
            *at_rest(threads, fe),
            *pretension(threads, fast, 1e-6),
            *pretension(threads, fe, 2e-3),
            *fast.balance(threads),
            *fe.balance(threads),
        ]
    )


def test_short_threads_on_a_blocked_tube_keep_their_strain() -> None:
    """What the cut leaves them short of, a blocked tube with a stiff wall makes them bear."""
    ratio = 1 / (1 - 0.15476348)
    wall = {"law": "neo-Hookean", "shear_modulus": "1 GPa"}
    soft = slack(65, "cut at 60 deg") | {"stiffness": "0.5 N"}
    case = tube(soft, rubber=wall, length=100.0).changed(end={"axial": "held", "twist": "held"})
    path = walk(case, [0.001], "fast")
    (seen,) = path.model.tube_values(path.states[0].x).threads
    expected = ratio - 1
    tension = 0.5 * (expected - 1e-3 / 2)
    verify(
        path.found(
            Quantity("blocked, strain", TRIANGLE, expected, seen.strain, 1e-4),
            Quantity("blocked, tension (N)", TRIANGLE, tension, seen.tension, 1e-4),
        )
    )
