r"""The balloon limit of a bare tube, met on the path: FE model, and both drives of the fast one.

@book{green1968,
  author = {A. E. Green and W. Zerna},
  title = {Theoretical Elasticity}, edition = {2}, chapter = {III},
  publisher = {Oxford University Press}, year = {1968},
  note = {from memory, re-derived; page not seen},
}

The pressure of a free closed tube (eqs. (4) and (5) of `test_thick_tube.py`),

.. math:: P(a), \quad F(a, \lambda(a)) = 0, \qquad (1)

has a maximum. At constant length (lambda = 1) it has none and tends to P = mu ln(B/A).

Worked numbers (A = 6, B = 8 mm, neo-Hookean): P/mu = 0.21564766 at a/A = 1.747449, lambda =
1.177716; for a wall H -> 0 on the radius R, 0.74986767 mu H/R at the hoop stretch 1.576875, lambda
= 1.178188; length held: mu ln(4/3) = 0.28768207 mu.

Set-up. The ends of an FE tube help to hold it, and near its limit the tube bulges in the middle
before it does so elsewhere: found by trial, 40 mm of tube (5 outer radii) hold 5.0 % more than the
uniform one, 80 mm 0.65 %, 120 mm 0.09 %, and from 160 mm on the limit is that of the mesh and the
rubber, 0.08 % below; the radius in the middle is then still 6.6, 2.6, 3.0, 1.1 % too great, and at
240 mm 0.5 %. So the tube is 240 mm long; 40 cells along it give the same figures as 120.

Tolerances. Eq. (1) of the fast model, its maximum sought by SciPy: 1e-6 in P and 1e-5 in the place
of the flat maximum; the thin wall is taken with H/R = 1e-4, worth 1e-4. 1e-4 of P and 1 % of a for
the fast path, which takes the maximum of one cubic between
two states. FE model: 0.5 % of P, 1 % of a at mid-length and of lambda in the middle tenth. Length
held: 1e-6 of P and F against eqs. (4) and (5) for the fast model; the FE tube's loads against those
of its own middle half to 0.3 %, its force to 1 % of the thrust. Where the path ends, at a stretch
of 8, the asymptote is met but for terms in (A/a)^4: 1e-3; the stretch itself to the last step, 2 %.
"""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from fem.case.case import Case
from fem.continuation.load_steps import loading_of, stages_of
from fem.continuation.loading import AXIAL
from fem.continuation.path import follow
from fem.continuation.state import State
from fem.continuation.stepper import MAX_STRETCH
from fem.continuation.termination import PathEndError, TerminationKind
from fem.fast.model import FastModel
from fem.solving.single import build
from validation.check import Quantity, at_most, verify
from validation.exact import ExactTube
from validation.tubes import MU, A, B, Walk, fast_loads, middle, tube, walk

SOURCE = "Green & Zerna 1968, from memory, re-derived"

LIMIT = (0.21564766, 1.747449, 1.177716)
"""P/mu, a/A and lambda."""


def balloon_limit(bore: float, outer: float) -> tuple[float, float, float]:
    """Return greatest pressure (MPa), bore radius (mm) and stretch of the free fast tube."""
    wall = FastModel(tube(radii=(bore, outer)))

    def free_stretch(a: float) -> float:
        return brentq(lambda stretch: fast_loads(wall, a, stretch)[1], 0.9, 2.0, xtol=1e-14)

    found = minimize_scalar(
        lambda a: -fast_loads(wall, a, free_stretch(a))[0],
        bounds=(1.4 * bore, 2.0 * bore),
        method="bounded",
        options={"xatol": 1e-8 * bore},
    )
    return -found.fun, found.x, free_stretch(found.x)


def test_maximum_of_the_fast_model() -> None:
    pressure, a, stretch = balloon_limit(A, B)
    thin = 1e-4
    thin_pressure, thin_a, thin_stretch = balloon_limit(1 - thin / 2, 1 + thin / 2)
    asymptote = fast_loads(FastModel(tube()), 1e4 * A, 1.0)[0] / MU
    rows = [
        ("P/mu", 0.21564766, pressure / MU, 1e-6),
        ("a/A", 1.747449, a / A, 1e-5),
        ("lambda", 1.177716, stretch, 1e-5),
        ("thin wall, P R/(mu H)", 0.74986767, thin_pressure / MU / thin, 1e-4),
        ("thin wall, hoop stretch", 1.576875, thin_a, 1e-4),
        ("thin wall, lambda", 1.178188, thin_stretch, 1e-4),
        ("length held, P/mu as a grows", np.log(B / A), asymptote, 1e-6),
    ]
    checks = [Quantity(f"maximum, {row[0]}", SOURCE, *row[1:]) for row in rows]
    verify(replace(check, by="fast") for check in checks)


def until_its_end(
    case: Case,
    model: str,
    resolution: str = "",
    end: TerminationKind = TerminationKind.LIMIT_POINT,
) -> tuple[Walk, State]:
    """Follow a path that ends at its limit point, or in another way; return it and the end."""
    built = build(case, model, resolution)
    states: list[State] = []
    with pytest.raises(PathEndError) as ended:
        for state in follow(built, loading_of(case), stages_of(case)):
            states.append(state)
    assert ended.value.kind is end
    return Walk(built, states, resolution), ended.value.state


def blown(length: float = 240.0, /, **drive: Any) -> Case:
    """Return a bare tube with another drive."""
    return tube(length=length).changed(**drive)


def limit_checks(
    what: str, found: tuple[float, float, float], shares: tuple[float, ...]
) -> list[Quantity]:
    """Return the checks of P/mu, a/A and lambda."""
    return [
        Quantity(f"{what}, {name}", SOURCE, e, c, share)
        for name, e, c, share in zip(("P/mu", "a/A", "lambda"), LIMIT, found, shares, strict=True)
    ]


@pytest.mark.parametrize("steps", [2, 6])
def test_fast_path_ends_at_the_limit(steps: int) -> None:
    path, limit = until_its_end(blown(pressure={"end": "30 kPa", "steps": steps}), "fast")
    a, stretch, _ = path.model.kinematic(limit.x)
    found = limit.pressure / MU, a / A, stretch
    what = f"limit in {steps} steps"
    verify([*path.found(*limit_checks(what, found, (1e-4, 1e-2, 1e-2))), *path.balance(what)])


DRIVES: dict[str, dict[str, Any]] = {
    "volume": {"volume": {"added": "120 mL", "steps": 8}},
    "gas": {"gas": {"mass": "160 mg", "steps": 8}},
}


@pytest.mark.parametrize("drive", DRIVES)
def test_volume_and_gas_pass_the_limit(drive: str) -> None:
    path = walk(blown(**DRIVES[drive]), None, "fast")
    (limit,) = (state for state in path.states if state.limit)
    a, stretch, _ = path.model.kinematic(limit.x)
    found = limit.pressure / MU, a / A, stretch
    unstable = sum(not state.stable for state in path.states)
    verify(
        [
            *path.found(
                *limit_checks(f"limit by {drive}", found, (1e-4, 1e-2, 1e-2)),
                at_most(f"by {drive}, unstable states", "what little gives holds", 0, unstable),
            ),
            *path.balance(f"by {drive}"),
        ]
    )
    assert path.states[-1].pressure < 0.98 * limit.pressure


def test_fe_path_ends_at_the_limit() -> None:
    case = blown(pressure={"end": "30 kPa", "steps": 6})
    path, limit = until_its_end(case, "fe", "1x1x40")
    seen = path.model.tube_values(limit.x)
    found = limit.pressure / MU, seen.bore_stretch, middle(path.model, limit.x, 0.1).stretch
    number = next(k for k, state in enumerate(path.states) if state.limit)
    beyond = [state.pressure for state in path.states[number:]]
    verify(
        [
            *path.found(
                *limit_checks("limit in 6 steps", found, (5e-3, 1e-2, 1e-2)),
                at_most("states beyond that carry more", "limit", 0, sum(np.diff(beyond) >= 0)),
            ),
            *path.balance("limit in 6 steps"),
        ]
    )


@pytest.mark.slow
def test_fe_limit_tends_to_that_of_the_long_tube() -> None:
    checks: list[Quantity] = []
    for length, resolution, trial in [
        (40.0, "1x1x20", 0.0499),
        (80.0, "1x1x40", 0.0065),
        (240.0, "2x2x120", -0.0008),
    ]:
        case = blown(length, pressure={"end": "30 kPa", "steps": 6})
        path, limit = until_its_end(case, "fe", resolution)
        found = limit.pressure / MU / LIMIT[0] - 1
        what = f"{length:.0f} mm, excess of the limit"
        checks += path.found(Quantity(what, "trials on other meshes", trial, found, 1e-3, 1.0))
    verify(checks)


HELD = {"end": {"axial": "held"}}


@pytest.mark.parametrize("model", ["fast", "fe"])
def test_length_held(model: str) -> None:
    case, exact = tube(length=120.0).changed(**HELD), ExactTube.of(tube())
    path = walk(case, [8.0, 16.0, 20.0], model, "1x2x30")
    checks = path.balance("length held")
    for state in path.states[1:]:
        place = middle(path.model, state.x).place
        shares = (3e-3, 1e-2) if model == "fe" else (1e-6, 1e-6)
        if model == "fast":
            still = f"{state.pressure * 1e3:.0f} kPa, lambda of the held length"
            checks += path.found(Quantity(still, "held", 1.0, place[1], 1e-8))
        what = f"length held, {state.pressure * 1e3:.0f} kPa"
        pressure, force, _ = exact.loads(*place)
        thrust = state.pressure * np.pi * place[0] ** 2
        checks += path.found(
            Quantity(f"{what}, P (MPa)", SOURCE, pressure, state.pressure, shares[0]),
            Quantity(f"{what}, F (N)", SOURCE, force, state.loads[AXIAL], shares[1], thrust),
        )
    verify(checks)


def test_length_held_has_no_limit_before_the_wall_tears() -> None:
    case = tube().changed(pressure={"end": "32 kPa", "steps": 4}, **HELD)
    path, last = until_its_end(case, "fast", end=TerminationKind.STRETCH_LIMIT)
    pressures = [state.pressure for state in path.states]
    place = path.model.kinematic(last.x)
    exact, *_ = ExactTube.of(case).loads(*place)
    verify(
        [
            *path.found(
                Quantity("P where the wall tears (MPa)", SOURCE, exact, last.pressure, 1e-6),
                Quantity("P/mu as a grows", SOURCE, np.log(B / A), last.pressure / MU, 1e-3),
                Quantity(
                    "a/A there", "greatest stretch: hoop, bore", MAX_STRETCH, place[0] / A, 0.02
                ),
                at_most("steps on which P falls", SOURCE, 0, sum(np.diff(pressures) < 0)),
            ),
            *path.balance("length held, to the wall's end"),
        ]
    )
