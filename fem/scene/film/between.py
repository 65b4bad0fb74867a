r"""States between two steps of a path, for the pictures of a film.

Points are carried in polar coordinates: on straight lines a tube that turns would become thin
between the steps. From a state :math:`(r_0, \theta_0, z_0)` to :math:`(r_1, \theta_1, z_1)` all
three change evenly. The turn is known up to full turns only; a point at the height Z of a tube of
length L goes about as far as the twist :math:`\Delta\varphi` carries it there, so

.. math:: \theta_1 - \theta_0 = t + w(\theta_1 - \theta_0 - t), \qquad
          t = \Delta\varphi\, Z / L                                                     \tag{1}

with w, which takes full turns off until it is in [-pi, pi]. A thread that slides keeps to that
within half a turn.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from fem.core.arrays import Array
from fem.quantities.shape import Shape


def shape_between(before: Shape, after: Shape, share: float, turn: float, length: float) -> Shape:
    """Return the shape at `share`, 0 to 1, of the way between two states of one body.

    Parameters
    ----------
    before, after
        The states.
    share
        How far.
    turn
        By how much the free end turns from one to the other (rad).
    length
        Length of the tube at rest (mm).
    """
    drill = turn / length
    places = _points_between(
        before.nodes + before.displacement,
        after.nodes + after.displacement,
        share,
        drill * before.nodes[:, 2],
    )
    threads = [
        replace(
            old,
            ends=_points_between(old.ends, new.ends, share, drill * old.rest[..., 2]),
            tension=old.tension + share * (new.tension - old.tension),
        )
        for old, new in zip(before.threads, after.threads, strict=True)
    ]
    return replace(
        before,
        pressure=before.pressure + share * (after.pressure - before.pressure),
        displacement=places - before.nodes,
        stretch=before.stretch + share * (after.stretch - before.stretch),
        threads=threads,
    )


def _points_between(before: Array, after: Array, share: float, turn: Array) -> Array:
    """Return points, shape (..., 3), that turn by about `turn`, shape (...), rad, eq. (1)."""
    (x0, y0, z0), (x1, y1, z1) = np.moveaxis(before, -1, 0), np.moveaxis(after, -1, 0)
    start = np.arctan2(y0, x0)
    rest = np.arctan2(y1, x1) - start - turn
    angle = start + share * (turn + rest - 2 * math.pi * np.round(rest / (2 * math.pi)))
    radius = np.hypot(x0, y0) + share * (np.hypot(x1, y1) - np.hypot(x0, y0))
    return np.stack(
        [radius * np.cos(angle), radius * np.sin(angle), z0 + share * (z1 - z0)], axis=-1
    )
