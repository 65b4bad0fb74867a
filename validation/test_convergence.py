r"""Convergence: over the mesh, the bulk modulus, the length of the tube and the number of threads.

@misc{convergence,
  title = {Orders of convergence from fits to a series of refinements},
  note = {common practice, no source},
}

@book{strang1973,
  author = {G. Strang and G. J. Fix},
  title = {An Analysis of the Finite Element Method},
  publisher = {Prentice-Hall}, year = {1973},
  note = {from memory: energies of a smooth solution converge as h^(2k); page not seen},
}

Of each study the rate q is fitted by least squares to

.. math:: \log e = \log c + q \log x, \qquad (1)

and asserted together with an error itself, for a rate alone may be that of a wrong limit.

1. *Mesh.* The thick cylinder of `test_macneal_harder_1985.py` (nu = 0.499), with 1, 2, 4 and 8
cells through the wall and as many round each twelfth of it. Its displacement at the bore is as good
as an energy (it is where the load acts), so the error of Q2 falls as h^4, from meshes on that
resolve the strain, which here falls to a ninth through the wall. 2. *Bulk modulus.* The free bare
tube near a/A = 1.25: the error of the stretch, against the exact one of an incompressible tube with
the same bore, falls as mu/kappa. 3. *Length.* The plates keep the ends of the tube from bulging.
Far from them that is not felt, so the FE tube turns by a fixed angle less than the uniform one of
the fast model, whatever its length L: the share falls as R/L. The length from which on both agree
to 1 % follows, and is tried. 4. *Number of threads.* The fast model spreads the threads of a family
into a layer. With n threads of the same stiffness as a whole, two cells to each, the FE tube's
middle tends to it. The ripples of the wall between threads die away from them as (r/R)^n, faster
than any power of n.

Worked numbers: none; the rates -1 and 4, and what the models agree on.

Tolerances. Rates: 0.3 of 4 for the two finest meshes; 0.05 of -1. Errors: 1e-4 on the finest mesh;
1e-4 of the stretch at kappa = 1000 mu, which is the default; the length for 1 % to a twentieth;
0.5 % of the twist rate and of lambda - 1 with 12 threads and more (1e4 mu is taken for kappa), and
each doubling from there changes them by less than a tenth of that.
"""

import numpy as np
import pytest

from fem.loading import AXIAL, TWIST
from fem.run import build
from validation.check import Drawing, Quantity, at_most, draw, found_by, verify
from validation.exact import ExactTube
from validation.slopes import KPA, fe_slopes, strains
from validation.test_macneal_harder_1985 import cylinder, exact
from validation.tubes import NEO_HOOKEAN, B, family, middle, tube, walk

PRACTICE = "fitted rate, common practice, no source"


def fitted(x: list[float], errors: list[float]) -> tuple[float, float]:
    """Return q and c of eq. (1)."""
    rate, intercept = np.polyfit(np.log(x), np.log(np.abs(errors)), 1)
    return float(rate), float(np.exp(intercept))


def picture(title: str, x: str, cells: list[float], errors: list[float], rate: float) -> None:
    """Draw errors with a line of a rate through the last of them."""
    sizes = np.abs(errors)
    line = [float(sizes[-1] * (cell / cells[-1]) ** rate) for cell in cells]
    curves = {"FE model": (cells, sizes.tolist()), f"rate {rate:g}": (cells, line)}
    draw(Drawing(title, x, "error", curves, log=True))


@pytest.mark.slow
def test_mesh() -> None:
    cells, errors, checks = [1, 2, 4, 8], [], []
    for count in cells:
        model = build(cylinder(0.499, 120.0), "fe", f"{count}x{count}x30")
        pressed, pulled = fe_slopes(model)
        longer, _, growth, _ = strains(model, pressed)
        longer_pulled, _, growth_pulled, _ = strains(model, pulled)
        held = (growth - longer / longer_pulled * growth_pulled) / KPA
        errors.append(held / exact(0.499) - 1)
    rate, _ = fitted([1 / count for count in cells[2:]], errors[2:])
    picture(
        "Thick cylinder, nu = 0.499", "cells through the wall", list(map(float, cells)), errors, -4
    )
    checks = [
        Quantity("mesh, rate from 4 to 8 cells", PRACTICE, 4.0, rate, 0.3, 1.0),
        at_most("mesh, error of u(A), 8 cells", PRACTICE, 1e-4, abs(errors[-1])),
        at_most("mesh, greatest error over that before", PRACTICE, 0.2, greatest_ratio(errors)),
    ]
    verify(found_by(model, checks))


def greatest_ratio(errors: list[float]) -> float:
    """Return the greatest ratio of an error to that before it."""
    sizes = np.abs(errors)
    return float((sizes[1:] / sizes[:-1]).max())


def test_bulk_modulus() -> None:
    ratios, errors, checks = [100.0, 300.0, 1000.0, 3000.0, 10000.0], [], []
    for ratio in ratios:
        case = tube(rubber=NEO_HOOKEAN | {"bulk_ratio": ratio}, length=120.0)
        path = walk(case, [7.0, 14.727988], resolution="1x2x40")
        found = middle(path.model, path.states[-1].x, 0.1)
        errors.append(found.stretch - ExactTube.of(case).free_stretch(found.a))
        checks += path.balance(f"kappa = {ratio:.0f} mu")
    rate, _ = fitted(ratios, errors)
    picture("Free bare tube, a/A = 1.25", "kappa/mu", ratios, errors, -1)
    checks += path.found(
        Quantity("kappa, rate", PRACTICE, -1.0, rate, 0.05),
        at_most("kappa = 1000 mu, error of lambda", PRACTICE, 1e-4, abs(errors[2])),
    )
    verify(checks)


def shortfalls(length: float) -> tuple[float, float, list[Quantity]]:
    """Return by which share the FE tube turns and moves less than the fast one, and checks."""
    pair = [family(20, 24, 500.0, 1e-3), family(-35, 24, 500.0, 1e-3, "B")]
    case = tube(*pair, length=length)
    fe = walk(case, [5.0, 10.0], resolution=f"1x1x{length / 4:.0f}")
    fast = walk(case, [5.0, 10.0], "fast")
    share = 1 - fe.states[-1].coordinates / fast.states[-1].coordinates
    what = f"L = {length:.0f} mm"
    return float(share[TWIST]), float(share[AXIAL]), [*fe.balance(what), *fast.balance(what)]


@pytest.mark.slow
def test_length() -> None:
    lengths = [40.0, 80.0, 160.0, 320.0, 640.0]
    turns, moves, checks = zip(*(shortfalls(length) for length in lengths), strict=True)
    slender = [length / B for length in lengths]
    rows = [check for balance in checks for check in balance]
    for name, shares in (("twist", list(turns)), ("displacement", list(moves))):
        rate, factor = fitted(slender, shares)
        needed = float((0.01 / factor) ** (1 / rate))
        turn, move, _ = shortfalls(4 * round(needed * B / 4))
        picture(f"End effect: {name} short of the fast model", "L/R", slender, shares, -1)
        rows += [
            Quantity(f"length, rate of {name}", PRACTICE, -1.0, rate, 0.05, by="FE"),
            Quantity(
                f"length, {name} at L/R = {needed:.0f}, short of the fast model by",
                PRACTICE,
                0.01,
                turn if name == "twist" else move,
                0.05,
                by="FE",
            ),
        ]
    verify(rows)


@pytest.mark.slow
def test_number_of_threads() -> None:
    counts = [6, 12, 24, 48]
    twists, stretches, checks = [], [], []
    for count in counts:
        rubber = NEO_HOOKEAN | {"bulk_ratio": 1e4}
        case = tube(family(60, count, 48e3 / count, 1e-5), rubber=rubber)
        resolution = "1x4x40" if count < 12 else "1x2x40"
        fe, fast = walk(case, [5.0, 10.0], resolution=resolution), walk(case, [5.0, 10.0], "fast")
        found = middle(fe.model, fe.states[-1].x)
        _, stretch, twist = middle(fast.model, fast.states[-1].x).place
        twists.append(found.twist / twist - 1)
        stretches.append((found.stretch - 1) / (stretch - 1) - 1)
        checks += fe.balance(f"{count} threads")
        if count >= 12:
            checks += fe.found(
                at_most(f"{count} threads, error of psi", PRACTICE, 5e-3, abs(twists[-1])),
                at_most(
                    f"{count} threads, error of lambda - 1", PRACTICE, 5e-3, abs(stretches[-1])
                ),
            )
    for name, errors in (("psi", twists), ("lambda - 1", stretches)):
        last = max(abs(np.diff(errors[1:])))
        checks += fe.found(at_most(f"{name}, change from 12 threads on", PRACTICE, 5e-4, last))
    verify(checks)
