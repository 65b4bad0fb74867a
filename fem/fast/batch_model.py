r"""One Newton iteration of many tubes, by pressure or by volume, with explicit inverses.

With H the stiffness of a tube (3 x 3, symmetric), C its matrix of cofactors and D its determinant,
all that is asked for follows from

.. math:: \frac{dy}{d\nu} = \frac{1}{C_{11}} (C_{11}, C_{12}, C_{13}), \qquad
          \frac{dP}{d\nu} = \frac{D}{C_{11}} = H_{1j} \frac{dy_j}{d\nu}, \qquad (1)

and, with nu held, from the lower 2 x 2 block, whose determinant is C_11. The equilibrium is stable
under held volume if this block is positive definite, under dead pressure if D > 0 as well.

Source: Cramer's rule; Sylvester's criterion; textbook.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fem.continuation.batch.states import Mask
from fem.core.arrays import Array
from fem.fast.potential import forces, restrain
from fem.fast.tubes import Tubes


class Iteration(NamedTuple):
    """What is known of tubes at trial states y.

    Attributes
    ----------
    error
        Largest force out of balance with nu held, as a share of the force scale, shape (n,).
    step
        What Newton's method adds to y with nu held, shape (3, n).
    along, stiffness
        dy/dnu along the path, shape (3, n), and dP/dnu, shape (n,).
    pressure
        Pressure in balance with the volume (MPa) after the step, shape (n,).
    bore
        What turns a pressure out of balance into a share of the force scale, shape (n,).
    firm, stable
        Whether it is a minimum under held volume, and under dead pressure, shapes (n,).
    """

    error: Array
    step: Array
    along: Array
    stiffness: Array
    pressure: Array
    bore: Array
    firm: Mask
    stable: Mask


def iterate(tubes: Tubes, y: Array) -> Iteration:
    """Return one iteration at `y`, shape (3, n)."""
    return newton(tubes, y, *forces(tubes, y))


def newton(tubes: Tubes, y: Array, gradient: Array, hessian: Array) -> Iteration:
    """Return the iteration from what :func:`fem.fast.potential.forces` has found at `y`.

    Both arrays are changed: they are restrained.
    """
    restrain(tubes, y, gradient, hessian)
    a, b, c, d, e, f = hessian
    r0, r1, r2 = gradient
    c11 = d * f - e * e
    per = 1 / c11
    step, along = np.empty_like(gradient), np.empty_like(gradient)
    step[0], along[0] = 0.0, 1.0
    np.multiply(e * r2 - f * r1, per, out=step[1])
    np.multiply(e * r1 - d * r2, per, out=step[2])
    np.multiply(c * e - b * f, per, out=along[1])
    np.multiply(b * e - c * d, per, out=along[2])
    stiffness = a + b * along[1] + c * along[2]
    firm = (f > 0) & (c11 > 0)
    return Iteration(
        error=np.maximum(np.abs(r1), np.abs(r2)) * tubes.gauge,
        step=step,
        along=along,
        stiffness=stiffness,
        pressure=r0 + b * step[1] + c * step[2],
        bore=bore_gauge(tubes, y),
        firm=firm,
        stable=firm & (stiffness > 0),
    )


def bore_gauge(tubes: Tubes, y: Array) -> Array:
    """Return what turns MPa across the whole bore into a share of the force scale, shape (n,).

    Not a number where nothing is left of bore or length. As on the path of one case, errors are
    the force across the bore, the force on the plate, and the torque on it over B.
    """
    return np.sqrt((tubes.bore_square + y[0]) * (1 + y[1])) * (2 * tubes.slender * tubes.gauge)


NEAR = 1e-2
"""With an error less than this across the volume, its pressure can be trusted to be the higher."""


class Search(NamedTuple):
    """Newton's method for given pressures, kept between two volumes.

    Attributes
    ----------
    pressure
        The pressures (MPa), shape (n,).
    low, high
        Values of nu at which the pressure is known to be lower and higher, shapes (n,).
    """

    pressure: Array
    low: Array
    high: Array

    def onward(self, y: Array, found: Iteration) -> tuple[Array, Array, Search]:
        """Return the next y, shape (3, n), the error of the present one, and the search after it.

        Where Newton's step leads beyond the two volumes, as where a thread tightens between them,
        half way between them is next.
        """
        lack = self.pressure - found.pressure
        known = found.error < NEAR
        low = np.where(known & (lack > 0), np.maximum(self.low, y[0]), self.low)
        high = np.where(known & (lack < 0), np.minimum(self.high, y[0]), self.high)
        way = np.where(known, lack / found.stiffness, 0.0)
        astray = ~((low <= y[0] + way) & (y[0] + way <= high)) & (high < np.inf)
        if astray.any():
            way = np.where(astray, (low + high) / 2 - y[0], way)
        error = np.maximum(found.error, np.abs(lack) * found.bore)
        return y + found.step + way * found.along, error, Search(self.pressure, low, high)
