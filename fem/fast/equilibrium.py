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

from fem.arrays import Array
from fem.fast.potential import forces, restrain
from fem.fast.states import Mask
from fem.fast.tubes import Tubes


class Iteration(NamedTuple):
    """What is known of tubes at trial states y under pressures P.

    Attributes
    ----------
    error
        Largest force out of balance, as a share of the tube's force scale, shape (n,).
    step
        What Newton's method adds to y, shape (3, n).
    along, stiffness
        dy/dnu along the path, shape (3, n), and dP/dnu, shape (n,).
    pressure
        Pressure in balance with the volume (MPa) after the step, shape (n,).
    firm, stable
        Whether it is a minimum under held volume, and under dead pressure, shapes (n,).
    """

    error: Array
    step: Array
    along: Array
    stiffness: Array
    pressure: Array
    firm: Mask
    stable: Mask


def iterate(tubes: Tubes, y: Array, pressure: Array | None) -> Iteration:
    """Return one iteration at `y`, shape (3, n); by volume where there is no `pressure`."""
    gradient, hessian = forces(tubes, y)
    restrain(tubes, y, gradient, hessian)
    a, b, c, d, e, f = hessian
    r0, r1, r2 = gradient
    c11 = d * f - e * e
    # with nu held, then the share of what is left across
    along = np.empty_like(gradient)
    along[0], along[1], along[2] = 1.0, (c * e - b * f) / c11, (b * e - c * d) / c11
    step = np.empty_like(gradient)
    step[0], step[1], step[2] = 0.0, (e * r2 - f * r1) / c11, (e * r1 - d * r2) / c11
    stiffness = a + b * along[1] + c * along[2]
    if pressure is not None:
        gradient[0] = r0 - pressure
        step -= along * ((gradient * along).sum(0) / stiffness)
        balance = pressure
    else:
        balance = r0 + b * step[1] + c * step[2]
        gradient[0] = 0.0
    firm = (f > 0) & (c11 > 0)
    possible = (y[0] > -tubes.bore_square) & (y[1] > -1)
    return Iteration(
        error=np.where(possible, error(tubes, y, gradient), np.nan),
        step=step,
        along=along,
        stiffness=stiffness,
        pressure=balance,
        firm=firm,
        stable=firm & (stiffness > 0),
    )


def error(tubes: Tubes, y: Array, residual: Array) -> Array:
    """Return the largest force out of balance, as a share of the tube's force scale, shape (n,).

    As on the path of one case these are the force on the plate, the torque on it over B, and the
    force across the whole bore. `residual` are the derivatives of the potential by y (MPa), shape
    (3, n).
    """
    across, along, round_axis = np.abs(residual)
    bore = 2 * np.sqrt((tubes.bore_square + y[0]) * (1 + y[1])) * tubes.slender
    return np.asarray(np.maximum(np.maximum(along, round_axis), across * bore) * tubes.gauge)
