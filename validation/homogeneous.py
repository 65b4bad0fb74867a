r"""Homogeneous deformations of incompressible rubber, and long tubes loaded only at their end.

A unit cube with the stretches l_1 l_2 l_3 = 1 and the energy W(I1, I2), where I1 is the sum of the
l_i^2 and I2 that of their inverses, is pulled to the stretch l by equal nominal stresses s on n
pairs of its faces. Their work equals the stored energy,

.. math:: n\, s\, dl = dW, \qquad
          s = \frac{1}{n} \left( W_1 \frac{dI_1}{dl} + W_2 \frac{dI_2}{dl} \right). \qquad (1)

=============  =  ====================  ==============  ================  =========================
kind           n  stretches             I1              I2                s
=============  =  ====================  ==============  ================  =========================
uniaxial       1  l, l^-1/2, l^-1/2     l^2 + 2/l       2 l + l^-2        2 (l - l^-2) (W1 + W2/l)
equibiaxial    2  l, l, l^-2            2 l^2 + l^-4    l^4 + 2 l^-2      2 (l - l^-5) (W1 + l^2 W2)
pure shear     1  l, 1, 1/l             l^2 + 1 + l^-2  the same          2 (l - l^-3) (W1 + W2)
=============  =  ====================  ==============  ================  =========================

Without pressure a tube under a tensile force F is in uniaxial tension, F = s pi (B^2 - A^2); an FE
tube is so far from its plates, which keep their radius.

Source: R. S. Rivlin, Phil. Trans. R. Soc. A 241, 379 (1948), doi 10.1098/rsta.1948.0024; from
memory, derived here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from fem.case.case import Case
from fem.continuation.load_steps import loading_of
from fem.continuation.loading import AXIAL, Device, dead_load
from fem.continuation.path import follow
from fem.core.arrays import Array
from fem.solving.single import build
from validation.tubes import A, B, SolvedPath, Through, tube

KINDS = ("uniaxial", "equibiaxial", "pure shear")

SECTION = math.pi * (B**2 - A**2)
"""Section of the wall at rest (mm2)."""

MESH = "1x1x20"
"""Mesh of the FE tube: twice as many cells along it change the stretch by less than 1e-4."""


def stress(rubber: Any, kind: str, stretch: Any) -> Array:
    """Return the nominal stress s (MPa) of a law at stretches l, in the shape of `stretch`."""
    x = np.asarray(stretch, dtype=float)
    i1, i2, pull, share = {
        "uniaxial": (x**2 + 2 / x, 2 * x + x**-2, x - x**-2, 1 / x),
        "equibiaxial": (2 * x**2 + x**-4, x**4 + 2 * x**-2, x - x**-5, x**2),
        "pure shear": (x**2 + 1 + x**-2, x**2 + 1 + x**-2, x - x**-3, 1.0),
    }[kind]
    first, second = rubber.dW(i1, i2)
    return np.asarray(2 * pull * (first + share * second))


def solve_end_path(
    case: Case, pair: int, device: Device, way: Sequence[float], model: str, resolution: str = MESH
) -> SolvedPath:
    """Load or move the free end of a tube without pressure, through the values of `way`.

    Parameters
    ----------
    case
        The case; its end loads and drive are not used.
    pair, device
        `AXIAL` or `TWIST`, and the device that prescribes this pair.
    way
        Values of the device: N or mm, N mm or rad.
    model, resolution
        See :func:`fem.solving.single.build`.
    """
    built = build(case, model, resolution)
    stage = Through(pair, device, way=tuple(map(float, way)))
    return SolvedPath(built, list(follow(built, loading_of(case), [stage])), resolution)


def pull_tube(rubber: Any, stresses: Sequence[float], model: str) -> SolvedPath:
    """Return the path of a bare tube of a rubber of a case under nominal stresses (MPa)."""
    case = tube(rubber=rubber)
    return solve_end_path(case, AXIAL, dead_load(), [SECTION * s for s in stresses], model)
