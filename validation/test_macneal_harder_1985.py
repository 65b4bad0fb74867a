r"""A thick cylinder in plane strain, nearly incompressible: the exact radius and the FE model.

@article{macneal1985,
  author = {R. H. MacNeal and R. L. Harder},
  title = {A proposed standard set of problems to test finite element accuracy},
  journal = {Finite Elements in Analysis and Design},
  volume = {1}, pages = {3--20}, year = {1985},
  doi = {10.1016/0168-874X(85)90003-4},
  note = {from memory, values reproduced by Lame's formula; page not seen},
}

An element that locks is much too stiff where Poisson's ratio is near 1/2. A cylinder of radii 3 and
9 with E = 1000 under the inner pressure p = 1 in plane strain has, by Lame's formula
(`test_lame.py`), the displacement at its bore

.. math:: u(A) = \frac{(1 + \nu)\, p A}{E (B^2 - A^2)} \left[ (1 - 2\nu) A^2 + B^2 \right].
          \qquad (1)

Plane strain is a tube with the axial force that keeps its length.

Worked numbers: u(3) = 5.0399e-3, 5.0602e-3 and 5.0623e-3 for nu = 0.49, 0.499 and 0.4999.

Tolerances. Eq. (1) against the numbers: 1e-5, half of their last digit. FE model: 0.3 %, with six
cells through the thick wall.
"""

import pytest

from fem.case.case import Case
from fem.solving.single import build
from validation.check import Quantity, tagged, verify
from validation.slopes import KPA, fe_slopes, strains
from validation.tubes import tube

SOURCE = "MacNeal & Harder 1985, from memory, reproduced"

CYLINDER = {0.49: 5.0399e-3, 0.499: 5.0602e-3, 0.4999: 5.0623e-3}
"""u(3) by nu."""


def exact(nu: float) -> float:
    """Return eq. (1)."""
    return (1 + nu) * 3 / (1000 * (81 - 9)) * ((1 - 2 * nu) * 9 + 81)


def cylinder(nu: float, length: float = 100.0) -> Case:
    """Return the cylinder as a tube that is long compared with its radii."""
    law = {
        "law": "neo-Hookean",
        "shear_modulus": f"{1000 / (2 * (1 + nu))!r} MPa",
        "bulk_ratio": 2 * (1 + nu) / (3 * (1 - 2 * nu)),
    }
    return tube(rubber=law, length=length, radii=(3.0, 9.0))


@pytest.mark.parametrize("nu", CYLINDER)
def test_thick_cylinder(nu: float) -> None:
    model = build(cylinder(nu), "fe", "6x1x40")
    pressed, pulled = fe_slopes(model)
    longer, _, growth, _ = strains(model, pressed)
    longer_pulled, _, growth_pulled, _ = strains(model, pulled)
    plane_strain = (growth - longer / longer_pulled * growth_pulled) / KPA
    computed = Quantity(f"nu = {nu}, u(A)", SOURCE, CYLINDER[nu], plane_strain, 3e-3)
    own = Quantity(f"nu = {nu}, eq. (1), u(A)", SOURCE, CYLINDER[nu], exact(nu), 1e-5)
    verify([own, *tagged(model, [computed])])
