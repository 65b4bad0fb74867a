r"""Small pressure on a bare tube: initial slope dx/dP of both models against linear elasticity.

@book{timoshenko1970,
  author = {S. P. Timoshenko and J. N. Goodier},
  title = {Theory of Elasticity}, edition = {3}, chapter = {sec. 28 (Lame's tube)},
  publisher = {McGraw-Hill}, year = {1970},
  note = {from memory, re-derived; page not seen},
}

@book{roark2002,
  author = {W. C. Young and R. G. Budynas},
  title = {Roark's Formulas for Stress and Strain}, edition = {7},
  chapter = {table 13.5, cases 1a and 1b},
  publisher = {McGraw-Hill}, year = {2002},
  note = {from memory, re-derived; page not seen},
}

With k = p A^2/(B^2 - A^2) the stresses in a tube under the inner pressure p are

.. math:: \sigma_r = k (1 - B^2/r^2), \quad \sigma_\theta = k (1 + B^2/r^2), \quad
          \sigma_z = k \text{ (closed ends) or } 0 \text{ (open)}, \qquad (1) \\
          E \epsilon_z = \sigma_z - \nu (\sigma_r + \sigma_\theta), \quad
          E u / r = \sigma_\theta - \nu (\sigma_r + \sigma_z). \qquad (2)

Both models have closed ends; an open tube is modelled with a force of p pi A^2 against the thrust.

At the bore sigma_r = -p, and the inverse of (2) gives the other two stresses from the strains
there,

.. math:: \begin{bmatrix} 1 & -\nu \\ -\nu & 1 \end{bmatrix}
          \begin{bmatrix} \sigma_\theta \\ \sigma_z \end{bmatrix}
          = \begin{bmatrix} E u(A)/A - \nu p \\ E \epsilon_z - \nu p \end{bmatrix}. \qquad (3)

Worked numbers (A = 6, B = 8 mm, E = 0.3 MPa, p = 1 kPa). nu = 1/2: closed, eps_z is zero and
u(A) = 6.85714286e-2, u(B) = 5.14285714e-2 mm; open, eps_z = -4.28571429e-3, u(A) = 8.14285714e-2
mm. Stresses: sigma_theta(A) = 3.5714286 kPa; sigma_z = 1.2857143 kPa closed, zero open.

Tolerances. The slope at rest is the limit of small pressure. Fast model: 1e-6, where it is exact.
FE model: 0.3 % of u, and for eps_z 0.3 % of the hoop strain u/A, with eqs. (1) and (2) at the nu of
the model (0.4995, and 0.4516 for the bulk modulus); it is nearly exact in the middle of a long
tube. Stresses: the same tolerances, relative to sigma_theta(A); worked numbers to 1e-7, half a unit
of their last digit and that of the strains.
"""

from typing import Any

import numpy as np
import pytest

from fem.fast.model import FastModel
from fem.solving.single import build
from validation.check import Quantity, tagged, verify
from validation.slopes import KPA, fast_strains, fe_slopes, strains
from validation.tubes import A, B, tube

LAME = "Timoshenko & Goodier, from memory, re-derived"
SYMMETRY = "symmetry, common practice, no source"

E = 0.3

CLOSED = (0.0, 6.85714286e-2, 5.14285714e-2)
OPEN = (-4.28571429e-3, 8.14285714e-2, 6.85714286e-2)
"""(eps_z, u(A), u(B)) at nu = 1/2."""

STRESSES = {"closed": (3.5714286, 1.2857143), "open": (3.5714286, 0.0)}
"""(sigma_theta(A), sigma_z) in kPa, for any nu."""

THRUST = KPA * np.pi * A**2


def lame(nu: float, thrust: bool) -> tuple[float, float, float]:
    """Return eps_z, u(A) and u(B) by eqs. (1) and (2)."""
    k = KPA * A**2 / (B**2 - A**2)
    axial = k if thrust else 0.0

    def growth(r: float) -> float:
        radial, hoop = k * (1 - (B / r) ** 2), k * (1 + (B / r) ** 2)
        return r / E * (hoop - nu * (radial + axial))

    return (axial - 2 * nu * k) / E, growth(A), growth(B)


def poisson(bulk_ratio: float) -> float:
    """Return Poisson's ratio from bulk over shear modulus."""
    return (3 * bulk_ratio - 2) / (2 * (3 * bulk_ratio + 1))


def rubber(bulk_ratio: float = 1000.0) -> dict[str, Any]:
    """Return neo-Hookean rubber with the modulus E."""
    shear = E / (2 * (1 + poisson(bulk_ratio)))
    return {"law": "neo-Hookean", "shear_modulus": f"{shear!r} MPa", "bulk_ratio": bulk_ratio}


def bare(
    what: str, expected: tuple[float, ...], computed: tuple[float, ...], share: float
) -> list[Quantity]:
    """Return the checks of eps_z, u(A) and u(B); eps_z is relative to the hoop strain."""
    return [
        Quantity(f"{what}, eps_z", LAME, expected[0], computed[0], share, expected[1] / A),
        Quantity(f"{what}, psi (rad/mm)", SYMMETRY, 0.0, computed[1], 1e-9, expected[1] / A / B),
        Quantity(f"{what}, u(A) (mm)", LAME, expected[1], computed[2], share),
        Quantity(f"{what}, u(B) (mm)", LAME, expected[2], computed[3], share),
    ]


def stresses(
    what: str, ends: str, nu: float, found: tuple[float, ...], share: float
) -> list[Quantity]:
    """Return the checks of the stresses at the bore by eq. (3) from eps_z, psi and u(A)."""
    strains_there = np.array([found[2] / A, found[0]])
    pair = np.linalg.solve([[1, -nu], [-nu, 1]], E * strains_there - nu * KPA) / KPA
    names = ("sigma_theta(A) (kPa)", "sigma_z (kPa)")
    return [
        Quantity(f"{what}, {ends}, {name}", LAME, e, float(c), share, STRESSES[ends][0])
        for name, e, c in zip(names, STRESSES[ends], pair, strict=True)
    ]


def test_worked_numbers() -> None:
    checks = []
    for name, row, thrust in [("closed", CLOSED, True), ("open", OPEN, False)]:
        found = lame(0.5, thrust)
        checks += bare(f"nu = 0.5, {name}", row, (found[0], 0.0, *found[1:]), 1e-8)
        checks += stresses("nu = 0.5", name, 0.5, (row[0], 0.0, *row[1:]), 1e-7)
    verify(checks)


def test_fast_model() -> None:
    model = FastModel(tube())
    closed, opened = fast_strains(model), fast_strains(model, -THRUST)
    checks = [
        *bare("nu = 0.5, closed", CLOSED, closed, 1e-6),
        *stresses("nu = 0.5", "closed", 0.5, closed, 1e-6),
        *bare("nu = 0.5, open", OPEN, opened, 1e-6),
        *stresses("nu = 0.5", "open", 0.5, opened, 1e-6),
    ]
    verify(tagged(model, checks))


@pytest.mark.parametrize("bulk_ratio", [10.0, 1000.0])
def test_fe_model(bulk_ratio: float) -> None:
    model = build(tube(rubber=rubber(bulk_ratio), length=120.0), "fe", "1x2x40")
    pressed, pulled = fe_slopes(model)
    nu = poisson(bulk_ratio)
    checks = []
    for ends, slope in [("closed", pressed), ("open", pressed - THRUST * pulled)]:
        found, what = strains(model, slope), f"nu = {nu:.4f}"
        checks += bare(f"{what}, {ends}", lame(nu, ends == "closed"), found, 3e-3)
        checks += stresses(what, ends, nu, found, 3e-3)
    verify(tagged(model, checks))
