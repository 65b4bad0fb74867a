r"""What symmetry asks of both models, whatever the figures.

@misc{symmetry,
  title = {Mirror symmetry and the rotation group},
  note = {common practice, no source},
}

Mirror at a plane through the axis: helix angles change sign, and of the measures those that turn
about the axis do with them, the twist phi of the free end and the torques M of the rings,

.. math:: (\alpha, \beta) \to (-\alpha, -\beta): \quad
          \phi, M \to -\phi, -M, \quad w, r, V, T \text{ unchanged}. \qquad (1)

The order in which equal families are listed means nothing. Two families that mirror each other
leave the tube without a twist. And a tube of n equal sectors deforms as one of them does, so the
full tube must give the sector's figures on the same cells.

Worked numbers: the greenhouse tube to 12 kPa on coarse meshes; the full tube with 6 + 6 threads on
1x2x8 cells a sector.

Tolerances: 1e-6 of each figure, far above round-off and the Newton tolerance of 1e-8, far below any
real difference; the twist that ought to be nil against that of one family alone (the +30 deg tube
turns by 1.1 rad).
"""

from typing import Any

import pytest

from fem.case.case import Case
from fem.quantities.column import measures
from validation.check import Quantity, verify
from validation.tubes import GREENHOUSE, family, walk

SOURCE = "symmetry, common practice, no source"
LOADS = [4.0, 8.0, 12.0]


def wrist(*families: Any) -> Case:
    """Return the greenhouse tube with other families."""
    data = Case.load(GREENHOUSE).model_dump(mode="json")
    return Case.parse(data | {"threads": families})


def figures(model: str, *families: Any, resolution: str = "coarse", full: bool = False) -> Any:
    """Return the measures of the greenhouse tube with `families` at the last of `LOADS`."""
    path = walk(wrist(*families), LOADS, model, resolution, full)
    return measures(path.model.tube_values(path.states[-1].x)), path


def pair(first: float, second: float, count: int = 12) -> tuple[Any, Any]:
    """Return families A and B at two angles (deg)."""
    return family(first, count, 200.0, 1e-3, "A"), family(second, count, 200.0, 1e-3, "B")


def same(what: str, expected: Any, computed: Any) -> list[Quantity]:
    """Return the checks that two rows of measures agree in every column."""
    return [
        Quantity(f"{what}, {name}", SOURCE, expected[name], computed[name], 1e-6)
        for name in expected
    ]


@pytest.mark.parametrize("model", ["fe", "fast"])
def test_mirror(model: str) -> None:
    right, path = figures(model, *pair(20, -35))
    left, _ = figures(model, *pair(-20, 35))
    turning = ["twist_deg", "ring_torque_Nmm.A", "ring_torque_Nmm.B"]
    mirrored = left | {name: -left[name] for name in turning}
    verify([*path.found(*same("mirrored", right, mirrored)), *path.balance("20 and -35 deg")])


@pytest.mark.parametrize("model", ["fe", "fast"])
def test_order_of_the_families(model: str) -> None:
    first, second = pair(20, -35)
    listed, path = figures(model, first, second)
    turned, _ = figures(model, second, first)
    rows = path.found(*same("listed the other way", listed, turned))
    verify([*rows, *path.balance("20 and -35 deg, listed")])


@pytest.mark.parametrize("model", ["fe", "fast"])
def test_balanced_families_do_not_turn(model: str) -> None:
    row, path = figures(model, *pair(30, -30))
    alone, _ = figures(model, family(30, 12, 200.0, 1e-3))
    verify(
        [
            *path.found(
                Quantity(
                    "+-30 deg, twist (deg)", SOURCE, 0.0, row["twist_deg"], 1e-6, alone["twist_deg"]
                ),
                Quantity(
                    "+-30 deg, tension of B (N)",
                    SOURCE,
                    row["tension_N.A"],
                    row["tension_N.B"],
                    1e-6,
                ),
            ),
            *path.balance("+-30 deg"),
        ]
    )


def test_sector_is_the_full_tube() -> None:
    sector, path = figures("fe", *pair(20, -35, 6), resolution="1x2x8")
    full, full_path = figures("fe", *pair(20, -35, 6), resolution="1x2x8", full=True)
    verify(
        [
            *full_path.found(*same("full tube against its sector", sector, full)),
            *path.balance("sector"),
            *full_path.balance("full tube"),
        ]
    )
