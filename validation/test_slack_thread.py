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
model's strain follows from m of the exact kinematics to 1e-6. A pre-tensioned tube obeys statics to
1e-6, that of the FE model to 0.2 % in its middle half, for the rubber's compressibility, as in
`test_blocked_ends.py`; pressure is held against the shear modulus.
"""

from typing import Any

import numpy as np
import pytest

from fem.case import Case
from fem.loading import AXIAL, PRESSURE
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
        return case.threads[0], case.threads[0].turn_rate(8.0) * 100.0

    (at_30, turn_30), (at_60, turn_60) = wound(30), wound(60)
    (at_55, turn_55), (at_65, _) = wound(55, 60), wound(65, 60)
    verify(
        Quantity(name, TRIANGLE, expected, computed, 1e-8, max(abs(expected), 1.0), by="both")
        for name, expected, computed in [
            ("length at 30 deg (mm)", 115.47005384, at_30.length(100.0)),
            ("length at 60 deg (mm)", 200.0, at_60.length(100.0)),
            ("ring turn at 30 deg (rad)", 7.21687836, turn_30),
            ("ring turn at 60 deg (rad)", 21.65063509, turn_60),
            ("ring turn from 60 to 55 deg (rad)", 3.79878501, turn_60 - turn_55),
            ("slack, cut at 60, wound at 55 deg", 0.14715287, at_55.slack_strain),
            ("slack, cut at 60, wound at 65 deg", -0.15476348, at_65.slack_strain),
            ("natural length, cut at 60 deg (mm)", 200.0, at_55.natural(at_55.length(100.0))),
            ("natural length, cut at 60 deg (mm)", 200.0, at_65.natural(at_65.length(100.0))),
        ]
    )


# --- before it engages --------------------------------------------------------------------------


def loose(hold: str, ends: Any) -> tuple[Case, Case]:
    """Return a tube with threads so slack that 12 kPa do not engage them, and the bare tube."""
    threads = [slack(30, "20 %", hold), slack(-55, "cut at 70 deg", hold) | {"name": "B"}]
    return (
        tube(*threads, length=80.0).changed(end=ends),
        tube(length=80.0).changed(end=ends),
    )


ENDS: dict[str, Any] = {"free": {}, "loaded": {"force": "1 N", "torque": "5 N mm"}}


@pytest.mark.parametrize("ends", ENDS)
@pytest.mark.parametrize("hold", ["bonded", "gliding"])
@pytest.mark.parametrize("model", ["fast", "fe"])
def test_slack_threads_are_absent(model: str, hold: str, ends: str) -> None:
    threaded, bare = (
        walk(case, [4.0, 8.0, 12.0], model, "1x2x10") for case in loose(hold, ENDS[ends])
    )
    setting = f"{hold}, {ends}"
    checks = threaded.balance(f"{setting}, with slack threads")
    for state, other in zip(threaded.states, bare.states, strict=True):
        what = f"{setting}, {state.pressure * 1e3:.0f} kPa"
        x, loads = state.x, state.loads
        residuals = [p.model.internal(x) - p.model.directions(x) @ loads for p in (threaded, bare)]
        size = np.abs(threaded.model.directions(x) @ loads).max() or 1.0
        tension = max(t.tension.max() for t in threaded.model.snapshot(x).threads)
        energy, bare_energy = (path.model.energy(x) for path in (threaded, bare))
        assert tension == 0.0
        checks += threaded.found(
            at_most(
                f"{what}, forces of the threads",
                ABSENT,
                1e-12,
                np.abs(residuals[0] - residuals[1]).max() / size,
            ),
            Quantity(
                f"{what}, energy (N mm)", ABSENT, bare_energy, energy, 1e-12, bare_energy or 1
            ),
        )
        scale = [other.coordinates[PRESSURE], 80.0, 1.0]
        checks += threaded.found(
            *(
                Quantity(f"{what}, {name}", ABSENT, e, c, 1e-6, s)
                for name, e, c, s in zip(
                    ("volume", "shift", "turn"),
                    other.coordinates,
                    state.coordinates,
                    scale,
                    strict=True,
                )
            )
        )
    assert (
        threaded.states[-1].coordinates[PRESSURE] > 1.2 * threaded.states[0].coordinates[PRESSURE]
    )
    verify(checks)


ENGAGING = [6.0, 9.0, 10.0, 10.5, 11.0, 11.5, 12.0, 13.0, 15.0]


def test_thread_engages_where_its_path_is_long_enough() -> None:
    case = tube(slack(70, "8 %"), length=80.0)
    path, exact = walk(case, ENGAGING, "fast"), ExactActuator.of(case)
    checks, ratios = path.balance("70 deg, 8 %"), []
    for state in path.states:
        (links,) = path.model.snapshot(state.x).threads
        ((ratio, _),) = exact.courses(*path.model.kinematic(state.x))
        what = f"strain at {state.pressure * 1e3:.1f} kPa"
        strain = Quantity(what, TRIANGLE, ratio / 1.08 - 1, links.mean_strain, 1e-6, 1.0)
        checks += path.found(strain)
        assert (links.mean_tension > 0) == (ratio > 1.08)
        ratios.append(ratio)
    assert ratios[0] < 1.08 < ratios[-1]
    verify(checks)


@pytest.mark.parametrize("hold", ["bonded", "gliding"])
def test_fe_thread_engages_where_its_path_is_long_enough(hold: str) -> None:
    """A gliding thread's path is measured as a polygon; a bonded one engages piece by piece."""
    case = tube(slack(70, "8 %", hold), length=80.0)
    path = walk(case, ENGAGING, resolution="1x3x20" if hold == "gliding" else "1x2x10")
    (threads,), shares, lengths = path.model.threads, [], []
    for state in path.states:
        displacement = path.model.motion.displacement(state.x[: path.model.motion.size])
        steps = np.diff(threads.positions(displacement), axis=1)
        lengths.append(np.linalg.norm(steps, axis=2).sum())
        shares.append(path.model.snapshot(state.x).threads[0].taut_share)
    assert shares[0] == 0 and shares[-1] > 0.5
    assert shares == sorted(shares)
    if hold == "gliding":
        ratios = np.array(lengths) / lengths[0]
        first = shares.index(1.0)
        assert shares[first - 1] == 0.0
        # by their chords, the curves are measured to 1e-3 of their length
        assert ratios[first - 1] < 1.08 + 1e-3
        assert ratios[first] > 1.08 - 1e-3
    verify(path.balance(f"70 deg, 8 %, {hold}"))


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


@pytest.mark.parametrize("threads", SHORT)
def test_short_threads_pull_at_rest(threads: str) -> None:
    case = tube(*SHORT[threads])
    fast, fe = walk(case, [4.0, 8.0], "fast"), walk(case, [4.0, 8.0], resolution="1x2x20")
    for path in (fast, fe):
        first = path.states[0]
        assert first.pressure == 0.0
        assert np.abs(first.coordinates[AXIAL:]).max() > 1e-2  # the tube gives way to them
        assert first.stable
    verify(
        [
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
    (links,) = path.model.snapshot(path.states[0].x).threads
    expected = ratio - 1
    tension = 0.5 * (expected - 1e-3 / 2)
    verify(
        path.found(
            Quantity("blocked, strain", TRIANGLE, expected, links.mean_strain, 1e-4),
            Quantity("blocked, tension (N)", TRIANGLE, tension, links.mean_tension, 1e-4),
        )
    )
