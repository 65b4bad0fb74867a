"""Segments of helices in the cells of a body."""

from __future__ import annotations

import numpy as np

from fem.core.arrays import Array, Index
from fem.fe.mesh.outer_face import OuterFace
from fem.threads.helix import Helix


def cut_helices(angle: float, count: int, face: OuterFace) -> tuple[Index, Array, Array]:
    """Return the segments of those of `count` threads that start in the body.

    A thread crosses the mesh planes normal to the axis at given z, and those through the axis where
    theta is a multiple of their spacing.

    Returns
    -------
    tuple
        In the order along each thread: number of the thread in the body, from 0, shape
        (segments,); height (mm) and azimuth (rad) of the ends at rest, not rotated back into the
        body, shapes (segments, 2).
    """
    planes = np.linspace(0.0, face.length, face.body.cells.axial + 1)
    rate = float(Helix(angle, face.radius, face.length).turn_rate)
    thread, ends, azimuth = [], [], []
    for number in range(count // face.body.sectors):
        start = 2 * np.pi * number / count
        cut = np.sort(np.append(planes, _crossings(start, rate, face)))
        cut = cut[np.append(True, np.diff(cut) > 1e-9 * face.length)]
        cut[-1] = face.length
        z = np.column_stack([cut[:-1], cut[1:]])
        thread.append(np.full(len(z), number))
        ends.append(z)
        azimuth.append(start + rate * z)
    return np.concatenate(thread), np.concatenate(ends), np.concatenate(azimuth)


def _crossings(start: float, rate: float, face: OuterFace) -> Array:
    """Return the heights where theta = start + rate z is a multiple of the spacing."""
    if rate == 0:
        return np.empty(0)
    low, high = np.sort([start, start + rate * face.length]) / face.spacing
    planes = np.arange(np.ceil(low), np.floor(high) + 1) * face.spacing
    return np.clip((planes - start) / rate, 0.0, face.length)
