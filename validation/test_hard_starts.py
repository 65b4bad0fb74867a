r"""Paths that are hard to start: one family of threads leaves the twist almost free at rest.

@misc{trials,
  title = {Throw-away trials of the same method in other code, before this package was written},
  note = {run here, values given to the degree},
}

In the trials a tube with one family of stiff threads did not converge for any step size in
Cartesian unknowns; in polar unknowns with a line search the long tube below reached -218 deg. Here
both models start from rest with the steps that a user would request, four and five, and reach the
end.

Cases: the greenhouse tube (5/6.5 mm x 60 mm, 60 kPa) with 12 threads at 30 deg, EA = 200 N and
20 kN, to 12 kPa; a tube of 6/8 mm x 160 mm, 100 kPa, with 24 threads at 70 deg to 20 kPa.

Worked numbers: -218 deg, against the exact -225.8 deg of 160 mm without end plates
(`test_thread_tube.py`); and for 30 deg -65 deg, both from the trials (EA = 200 N).

Tolerances. Fewer than 60 Newton iterations per path (a few times the number of an easy start). The
twists of the trials were given to the degree, on similar meshes: 1 deg. Every state is stable.
"""

import math

import pytest

from fem.case.case import Case
from validation.check import Quantity, at_most, verify
from validation.kinds import Kind
from validation.tubes import GREENHOUSE, family, solve_path, tube

TRIALS = "trials of the same method in other code"
PRACTICE = "common practice, no source"

greenhouse = Case.load(GREENHOUSE).model_dump(mode="json")


def short(stiffness: float) -> Case:
    """Return the greenhouse tube with one family at 30 deg."""
    return Case.parse(greenhouse | {"threads": [family(30, 12, stiffness, 1e-3)]})


STARTS = {
    "30 deg, 200 N": (short(200.0), 12.0, -65.0),
    "30 deg, 20 kN": (short(2e4), 12.0, None),
    "70 deg, 200 N": (tube(family(70, 24, 200.0, 1e-3)), 20.0, -218.0),
    "70 deg, 20 kN": (tube(family(70, 24, 2e4, 1e-3)), 20.0, None),
}
"""Case, pressure (kPa), and FE twist of the trials (deg)."""


@pytest.mark.parametrize("steps", [4, 5])
@pytest.mark.parametrize("model", ["fe", "fast"])
@pytest.mark.parametrize("start", STARTS)
def test_hard_start(start: str, model: str, steps: int) -> None:
    case, end, twist = STARTS[start]
    path = solve_path(case, [end * step / steps for step in range(1, steps + 1)], model)
    phi = math.degrees(path.model.tube_values(path.states[-1].x).twist)
    what, unstable = f"{start}, {steps} steps", sum(not state.stable for state in path.states)
    checks = [
        at_most(f"{what}, iterations", PRACTICE, 59, path.iterations, Kind.SOLVER),
        at_most(f"{what}, unstable states", PRACTICE, 0, unstable),
    ]
    if model == "fe" and twist is not None:
        checks.append(Quantity(f"{what}, twist (deg)", TRIALS, twist, phi, 1.0, 1.0))
    verify([*path.tagged(*checks), *path.balance_checks(what)])
