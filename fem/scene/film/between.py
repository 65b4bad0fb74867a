r"""States between two steps of a path, for the pictures of a film.

Points are interpolated in polar coordinates: on straight lines a tube that twists would become thin
between the steps. From a state :math:`(r_0, \theta_0, z_0)` to :math:`(r_1, \theta_1, z_1)` all
three change linearly. The rotation is known only up to full turns; a point at the height Z of a
tube of length L rotates by about its share of the twist :math:`\Delta\varphi`, so

.. math:: \theta_1 - \theta_0 = t + w(\theta_1 - \theta_0 - t), \qquad
          t = \Delta\varphi\, Z / L                                                     \tag{1}

where w removes full turns until the result is in [-pi, pi]. A sliding thread deviates from that by
less than half a turn.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from fem.core.arrays import Array
from fem.quantities.shape import Shape


def shape_between(before: Shape, after: Shape, share: float, twist: float, length: float) -> Shape:
    """Return the shape interpolated at `share`, 0 to 1, between two states of one body.

    Parameters
    ----------
    before, after
        The states.
    share
        Position between the states.
    twist
        Rotation of the free end from one to the other (rad).
    length
        Length of the tube at rest (mm).
    """
    rate = twist / length
    points = _points_between(
        before.nodes + before.displacement,
        after.nodes + after.displacement,
        share,
        rate * before.nodes[:, 2],
    )
    threads = [
        replace(
            old,
            ends=_points_between(old.ends, new.ends, share, rate * old.rest[..., 2]),
            tension=old.tension + share * (new.tension - old.tension),
        )
        for old, new in zip(before.threads, after.threads, strict=True)
    ]
    return replace(
        before,
        pressure=before.pressure + share * (after.pressure - before.pressure),
        displacement=points - before.nodes,
        stretch=before.stretch + share * (after.stretch - before.stretch),
        threads=threads,
    )


def _points_between(before: Array, after: Array, share: float, turn: Array) -> Array:
    """Return points, shape (..., 3), that rotate by about `turn`, shape (...), rad, eq. (1)."""
    (x0, y0, z0), (x1, y1, z1) = np.moveaxis(before, -1, 0), np.moveaxis(after, -1, 0)
    start = np.arctan2(y0, x0)
    rest = np.arctan2(y1, x1) - start - turn
    angle = start + share * (turn + rest - 2 * math.pi * np.round(rest / (2 * math.pi)))
    radius = np.hypot(x0, y0) + share * (np.hypot(x1, y1) - np.hypot(x0, y0))
    return np.stack(
        [radius * np.cos(angle), radius * np.sin(angle), z0 + share * (z1 - z0)], axis=-1
    )
