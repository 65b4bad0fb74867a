r"""Symmetries of both models: mirror image, order of the families, sector and full tube.

@misc{symmetry,
  title = {Mirror symmetry and the rotation group},
  note = {common practice, no source},
}

Reflection in a plane through the axis: helix angles change sign, and with them the outputs that are
rotations about the axis, the twist phi of the free end and the torques M of the rings,

.. math:: (\alpha, \beta) \to (-\alpha, -\beta): \quad
          \phi, M \to -\phi, -M, \quad w, r, V, T \text{ unchanged}. \qquad (1)

The order of equal families has no effect. Two families that are mirror images of each other give no
twist. And a tube of n equal sectors deforms like one of them, so the full tube must give the values
of the sector on the same cells.

Worked numbers: the greenhouse tube to 12 kPa on coarse meshes; the full tube with 6 + 6 threads on
1x2x8 cells a sector.

Tolerances: 1e-6 of each value, far above round-off and the Newton tolerance of 1e-8, far below any
real difference; the twist that should be zero is relative to that of one family alone (1.1 rad for
the tube with +30 deg).
"""

from typing import Any

import pytest

from fem.case.case import Case
from fem.quantities.column import measures
from validation.check import Quantity, verify
from validation.kinds import Kind
from validation.tubes import GREENHOUSE, family, solve_path

SOURCE = "symmetry, common practice, no source"
LOADS = [4.0, 8.0, 12.0]


def wrist(*families: Any) -> Case:
    """Return the greenhouse tube with other families."""
    data = Case.load(GREENHOUSE).model_dump(mode="json")
    return Case.parse(data | {"threads": families})


def outputs(model: str, *families: Any, resolution: str = "coarse", full: bool = False) -> Any:
    """Return the measures of the greenhouse tube with `families` at the last of `LOADS`."""
    path = solve_path(wrist(*families), LOADS, model, resolution, full)
    return measures(path.model.tube_values(path.states[-1].x)), path


def pair(first: float, second: float, count: int = 12) -> tuple[Any, Any]:
    """Return families A and B at two angles (deg)."""
    return family(first, count, 200.0, 1e-3, "A"), family(second, count, 200.0, 1e-3, "B")


def same(what: str, expected: Any, computed: Any) -> list[Quantity]:
    """Return the checks that two rows of outputs agree in every column."""
    return [
        Quantity(f"{what}, {name}", SOURCE, expected[name], computed[name], 1e-6, kind=Kind.OUTPUTS)
        for name in expected
    ]


@pytest.mark.parametrize("model", ["fe", "fast"])
def test_mirror(model: str) -> None:
    right, path = outputs(model, *pair(20, -35))
    left, _ = outputs(model, *pair(-20, 35))
    rotations = ["twist_deg", "ring_torque_Nmm.A", "ring_torque_Nmm.B"]
    mirrored = left | {name: -left[name] for name in rotations}
    verify(
        [
            *path.tagged(*same("mirrored", right, mirrored)),
            *path.balance_checks("20 and -35 deg"),
        ]
    )


@pytest.mark.parametrize("model", ["fe", "fast"])
def test_order_of_the_families(model: str) -> None:
    first, second = pair(20, -35)
    listed, path = outputs(model, first, second)
    swapped, _ = outputs(model, second, first)
    rows = path.tagged(*same("other order", listed, swapped))
    verify([*rows, *path.balance_checks("20 and -35 deg, listed")])


@pytest.mark.parametrize("model", ["fe", "fast"])
def test_opposite_families_give_no_twist(model: str) -> None:
    row, path = outputs(model, *pair(30, -30))
    alone, _ = outputs(model, family(30, 12, 200.0, 1e-3))
    verify(
        [
            *path.tagged(
                Quantity(
                    "+-30 deg, twist (deg)", SOURCE, 0.0, row["twist_deg"], 1e-6, alone["twist_deg"]
                ),
                Quantity(
                    "+-30 deg, tension B (N)",
                    SOURCE,
                    row["tension_N.A"],
                    row["tension_N.B"],
                    1e-6,
                ),
            ),
            *path.balance_checks("+-30 deg"),
        ]
    )


def test_sector_is_the_full_tube() -> None:
    sector, path = outputs("fe", *pair(20, -35, 6), resolution="1x2x8")
    full, full_path = outputs("fe", *pair(20, -35, 6), resolution="1x2x8", full=True)
    verify(
        [
            *full_path.tagged(*same("full tube against its sector", sector, full)),
            *path.balance_checks("sector"),
            *full_path.balance_checks("full tube"),
        ]
    )
