"""The measures: what a state of either model comes down to, defined once for both.

A model describes a state by a :class:`Snapshot`; :func:`measures` turns it into the columns of the
step table.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.arrays import Array, Index
from fem.case import Tube
from fem.thread import ThreadFamily


@dataclass(frozen=True)
class ThreadLinks:
    """The links of the threads of one family, in their order along each thread.

    Attributes
    ----------
    family
        The family.
    tension, rest
        Tension (N) and length at rest (mm) of each link, shape (links,).
    thread
        Number of the thread that the link belongs to, shape (links,).
    """

    family: ThreadFamily
    tension: Array
    rest: Array
    thread: Index

    @property
    def mean_tension(self) -> float:
        """Mean tension along the threads (N)."""
        return float(self.tension @ self.rest / self.rest.sum())

    @property
    def taut_share(self) -> float:
        """Share of the thread length that carries tension."""
        taut = self.tension > 1e-12 * self.family.stiffness  # less is round-off
        return float(self.rest[taut].sum() / self.rest.sum())

    def peak_tension(self, window: float) -> float:
        """Return the greatest mean tension over a stretch of thread as long as `window` (N)."""
        return max(
            _greatest_mean(self.tension[mine], self.rest[mine], window)
            for mine in (self.thread == number for number in np.unique(self.thread))
        )


def _greatest_mean(values: Array, lengths: Array, window: float) -> float:
    """Return the greatest running mean of a piecewise constant function.

    Its integral is piecewise linear, so the greatest mean is found with one end of the window at
    the end of a piece.
    """
    ends = np.concatenate([[0.0], np.cumsum(lengths)])
    integral = np.concatenate([[0.0], np.cumsum(values * lengths)])
    window = min(window, ends[-1])
    starts = np.clip(np.concatenate([ends, ends - window]), 0.0, ends[-1] - window)
    gain = np.interp(starts + window, ends, integral) - np.interp(starts, ends, integral)
    return float(gain.max() / window)


@dataclass(frozen=True)
class Snapshot:
    """A state of a model, as far as the measures need it.

    Attributes
    ----------
    twist, displacement
        Turn (rad) and axial displacement (mm) of the free end.
    outer_z, outer_growth
        Positions at rest along the axis, and growth of the outer radius there, shape (n,), mm;
        half length is among them.
    volume
        Enclosed by the whole bore (mm3).
    wall_stretch
        Largest principal stretch in the wall.
    threads
        The families in the order of the case.
    """

    twist: float
    displacement: float
    outer_z: Array
    outer_growth: Array
    volume: float
    wall_stretch: float
    threads: list[ThreadLinks]


@dataclass(frozen=True)
class Reactions:
    """What wall and threads carry across a section, to be held against the pressure.

    Attributes
    ----------
    force
        Axial force, positive for tension (N).
    torque
        Torque about the axis (N mm).
    bore_area
        Area of the bore there, on which the pressure pushes (mm2).
    """

    force: float
    torque: float
    bore_area: float


def measures(snapshot: Snapshot, tube: Tube) -> dict[str, Any]:
    """Return the measures of a state of `tube` by column name; the names carry the units."""
    middle = np.abs(snapshot.outer_z - tube.length / 2) < 1e-6 * tube.length
    row: dict[str, Any] = {
        "twist_deg": math.degrees(snapshot.twist),
        "displacement_mm": snapshot.displacement,
        "stretch": 1 + snapshot.displacement / tube.length,
        "mid_radius_mm": tube.outer_radius + float(snapshot.outer_growth[middle].mean()),
        "bulge_mm": float(snapshot.outer_growth.max()),
        "volume_mm3": snapshot.volume,
    }
    for links in snapshot.threads:
        name = links.family.name
        row[f"tension_N.{name}"] = links.mean_tension
        row[f"tension_peak_N.{name}"] = links.peak_tension(tube.wall)
        row[f"taut.{name}"] = links.taut_share
    row["wall_stretch_max"] = snapshot.wall_stretch
    return row
