r"""Convergence with the mesh, the bulk modulus, the length of the tube and the number of threads.

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

For each study the rate q is fitted by least squares to

.. math:: \log e = \log c + q \log x, \qquad (1)

and tested together with an error, because values can converge at the right rate to a wrong limit.

1. *Mesh.* The thick cylinder of `test_macneal_harder_1985.py` (nu = 0.499), with 1, 2, 4 and 8
cells through the wall and as many round each twelfth of it. Its displacement at the bore, where the
load acts, converges as an energy, so the error of Q2 falls as h^4 on meshes that resolve the
strain, which here falls to a ninth through the wall. 2. *Bulk modulus.* The free bare tube near
a/A = 1.25: the error of the stretch, compared with an incompressible tube with the same bore, falls
as mu/kappa. 3. *Length.* The plates prevent the ends of the tube from bulging. This effect is
local, so the twist of the FE tube is smaller than that of the uniform tube of the fast model by a
constant angle, independent of the length L: the relative difference falls as R/L. The length from
which on both agree to 1 % follows, and is tried: for a tube with two families, at 20 and -35 deg,
L/R = 70 for the twist and 43 for the displacement. 4. *Number of threads.* The fast model
distributes the threads of a family over a layer. With n threads of the same total stiffness, two
cells for each (four with 6 threads), the middle of the FE tube converges to it, with n = 6, 12, 24
and 48. The ripples of the wall between threads decay as (r/R)^n, faster than any power of n: from 6
to 24 threads the error of psi falls as n^-5.0, that of lambda - 1 as n^-4.4. Beyond, both stay at
3e-5, which is no effect of the threads: of lambda - 1 with n = 48, compressibility makes
3.1 mu/kappa (the errors are 3.0e-3, 2.5e-4 and -0.3e-4 at 1e3, 1e4 and 1e5 mu), and the mesh with
its one cell through the wall -6e-5: with two cells and 1e6 mu, 7e-7 remains. So 1e5 mu is used
here.

Worked numbers: the rates -1 and 4, and L/R = 70 and 43.

Tolerances. Rates: 0.3 of 4 for the two finest meshes; 0.05 of -1. Coarse meshes do not resolve the
strain yet: there the ratio of an error to that of the mesh half as fine may be more than that of
h^4, 1/16, but must be less than that of h^2, 1/4, as of linear elements: 0.2. Errors: 1e-4 on the
finest mesh; 1e-4 of the stretch at kappa = 1000 mu, the default; the error at the length for 1 % to
a twentieth, and the length to the two digits given here, 2 %. Threads: from 6 to 24 the fitted rate
must be steeper than -4, 1/16 of the error at each doubling, twice the rate at which chords converge
to their arc. 5 % with 6 threads, because a hexagon encloses the same area as a circle with a 5 %
smaller circumference; 5e-4 with 12, a twentieth of the project's limit for twist; 1e-4 with 24 and
48, for mesh and compressibility. The effect of the latter on lambda - 1 is proportional to mu/kappa
to 0.05, as in 2.
"""

from typing import NamedTuple

import numpy as np
import pytest

from fem.continuation.loading import AXIAL, TWIST
from fem.solving.single import build
from validation.check import Drawing, Quantity, at_most, draw, tagged, verify
from validation.exact import ExactTube
from validation.kinds import Kind
from validation.slopes import KPA, fe_slopes, strains
from validation.test_macneal_harder_1985 import cylinder, exact
from validation.tubes import NEO_HOOKEAN, B, SolvedPath, family, middle, solve_path, tube

PRACTICE = "fitted rate, common practice, no source"
OWN = "stated in this chapter, run here"


def fitted(x: list[float], errors: list[float]) -> tuple[float, float]:
    """Return q and c of eq. (1)."""
    rate, intercept = np.polyfit(np.log(x), np.log(np.abs(errors)), 1)
    return float(rate), float(np.exp(intercept))


def fit(name: str, expected: float, found: float, tolerance: float) -> Quantity:
    """Return the check of a rate, to an absolute tolerance."""
    return Quantity(name, PRACTICE, expected, found, tolerance, 1.0, kind=Kind.CONVERGENCE)


def bound(name: str, most: float, error: float) -> Quantity:
    """Return the check that the size of an error is at most `most`."""
    return at_most(name, PRACTICE, most, abs(error), Kind.CONVERGENCE)


def picture(title: str, x: str, cells: list[float], errors: list[float], rate: float) -> None:
    """Draw errors, and a line of a given rate through the last one."""
    sizes = np.abs(errors)
    line = [float(sizes[-1] * (cell / cells[-1]) ** rate) for cell in cells]
    curves = {"FE model": (cells, sizes.tolist()), f"rate {rate:g}": (cells, line)}
    draw(Drawing(title, x, "error", curves, log=True))


@pytest.mark.slow
def test_mesh() -> None:
    cells, errors = [1, 2, 4, 8], []
    for count in cells:
        model = build(cylinder(0.499, 120.0), "fe", f"{count}x{count}x30")
        pressed, pulled = fe_slopes(model)
        longer, _, growth, _ = strains(model, pressed)
        longer_pulled, _, growth_pulled, _ = strains(model, pulled)
        plane_strain = (growth - longer / longer_pulled * growth_pulled) / KPA
        errors.append(plane_strain / exact(0.499) - 1)
    rate, _ = fitted([1 / count for count in cells[2:]], errors[2:])
    picture(
        "Thick cylinder, nu = 0.499", "cells through the wall", list(map(float, cells)), errors, -4
    )
    checks = [
        fit("mesh, rate from 4 to 8 cells", 4.0, rate, 0.3),
        bound("mesh, error of u(A), 8 cells", 1e-4, errors[-1]),
        bound("mesh, largest ratio of an error to the one before", 0.2, largest_ratio(errors)),
    ]
    verify(tagged(model, checks))


def largest_ratio(errors: list[float]) -> float:
    """Return the largest ratio of an error to the one before it."""
    sizes = np.abs(errors)
    return float((sizes[1:] / sizes[:-1]).max())


def test_bulk_modulus() -> None:
    ratios, errors, checks = [100.0, 300.0, 1000.0, 3000.0, 10000.0], [], []
    for ratio in ratios:
        case = tube(rubber=NEO_HOOKEAN | {"bulk_ratio": ratio}, length=120.0)
        path = solve_path(case, [7.0, 14.727988], resolution="1x2x40")
        found = middle(path.model, path.states[-1].x, 0.1)
        errors.append(found.stretch - ExactTube.of(case).free_stretch(found.a))
        checks += path.balance_checks(f"kappa = {ratio:.0f} mu")
    rate, _ = fitted(ratios, errors)
    picture("Free bare tube, a/A = 1.25", "kappa/mu", ratios, errors, -1)
    checks += path.tagged(
        fit("kappa, rate", -1.0, rate, 0.05),
        bound("kappa = 1000 mu, error of lambda", 1e-4, errors[2]),
    )
    verify(checks)


DEVICE = [family(20, 24, 500.0, 1e-3), family(-35, 24, 500.0, 1e-3, "B")]
"""Threads of the device whose length is determined."""

LONG_ENOUGH = {"twist": 70.0, "displacement": 43.0}
"""L/R from which on both models agree to 1 % on it."""


def end_effects(length: float) -> tuple[dict[str, float], SolvedPath, list[Quantity]]:
    """Return the relative differences of twist and displacement, the FE path, and its checks."""
    case = tube(*DEVICE, length=length)
    fe = solve_path(case, [5.0, 10.0], resolution=f"1x1x{length / 4:.0f}")
    fast = solve_path(case, [5.0, 10.0], "fast")
    share = 1 - fe.states[-1].conjugates / fast.states[-1].conjugates
    what = f"L = {length:.0f} mm"
    shares = {"twist": float(share[TWIST]), "displacement": float(share[AXIAL])}
    return shares, fe, [*fe.balance_checks(what), *fast.balance_checks(what)]


@pytest.mark.slow
def test_length() -> None:
    lengths = [40.0, 80.0, 160.0, 320.0, 640.0]
    tables, paths, balances = zip(*(end_effects(length) for length in lengths), strict=True)
    slender = [length / B for length in lengths]
    checks = [check for balance in balances for check in balance]
    for name, enough in LONG_ENOUGH.items():
        shares = [table[name] for table in tables]
        rate, factor = fitted(slender, shares)
        needed = float((0.01 / factor) ** (1 / rate))
        tried, path, balance = end_effects(4 * round(needed * B / 4))
        picture(f"End effect: {name} short of the fast model", "L/R", slender, shares, -1)
        short = f"length, {name} at L/R = {enough:.0f}, short of the fast model by"
        checks += paths[-1].tagged(
            fit(f"length, rate of {name}", -1.0, rate, 0.05),
            Quantity(
                f"length, L/R for 1 % of {name}",
                OWN,
                enough,
                needed,
                0.02,
                kind=Kind.CONVERGENCE,
            ),
        )
        tried_at = Quantity(short, PRACTICE, 0.01, tried[name], 0.05, kind=Kind.CONVERGENCE)
        checks += path.tagged(tried_at)
        checks += balance
    verify(checks)


class ThreadErrors(NamedTuple):
    """Relative errors of the middle of an FE tube against the fast model, and its path."""

    psi: float
    stretching: float
    path: SolvedPath


def errors_with(count: int, bulk_ratio: float) -> ThreadErrors:
    """Return the errors of psi and of lambda - 1 with `count` threads at 60 deg, 10 kPa."""
    rubber = NEO_HOOKEAN | {"bulk_ratio": bulk_ratio}
    case = tube(family(60, count, 48e3 / count, 1e-5), rubber=rubber)
    resolution = "1x4x40" if count < 12 else "1x2x40"
    fe, fast = (
        solve_path(case, [5.0, 10.0], resolution=resolution),
        solve_path(case, [5.0, 10.0], "fast"),
    )
    found, layer = middle(fe.model, fe.states[-1].x), middle(fast.model, fast.states[-1].x)
    return ThreadErrors(
        found.twist / layer.twist - 1, (found.stretch - 1) / (layer.stretch - 1) - 1, fe
    )


@pytest.mark.slow
def test_number_of_threads() -> None:
    bounds = {6: 5e-2, 12: 5e-4, 24: 1e-4, 48: 1e-4}
    found = {count: errors_with(count, 1e5) for count in bounds}
    checks = []
    for count, (psi, stretching, path) in found.items():
        checks += path.balance_checks(f"{count} threads")
        checks += path.tagged(
            bound(f"{count} threads, error of psi", bounds[count], psi),
            bound(f"{count} threads, error of lambda - 1", bounds[count], stretching),
        )
    counts = [float(count) for count in bounds]
    for name, errors in (
        ("psi", [row.psi for row in found.values()]),
        ("lambda - 1", [row.stretching for row in found.values()]),
    ):
        rate, _ = fitted(counts[:3], errors[:3])
        what = f"6 to 24 threads, fitted ratio of the errors of {name} by each doubling"
        checks += found[24].path.tagged(bound(what, 2.0**-4, 2.0**rate))
        picture(f"Error of {name}, kappa = 1e5 mu", "threads", counts, errors, -4)
    verify(checks)


@pytest.mark.slow
def test_error_with_many_threads_is_compressibility() -> None:
    ratios = [1e3, 1e4, 1e5]
    hard, medium, soft = (errors_with(48, ratio) for ratio in reversed(ratios))
    shares = [1 / ratio - 1 / ratios[-1] for ratio in ratios[:2]]
    rise = (soft.stretching - hard.stretching) / (medium.stretching - hard.stretching)
    verify(
        hard.path.tagged(
            Quantity(
                "48 threads, change of lambda - 1 from kappa = 1e5 mu, at 1e3 over at 1e4 mu",
                PRACTICE,
                shares[0] / shares[1],
                rise,
                0.05,
                kind=Kind.CONVERGENCE,
            )
        )
    )
