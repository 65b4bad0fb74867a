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
from fem.case import Case, Tube
from fem.thread import ThreadFamily


@dataclass(frozen=True)
class ThreadLinks:
    """The links of the threads of one family, in their order along each thread from the base.

    Attributes
    ----------
    family
        The family.
    tension, strain
        Tension (N) and strain of each link, shape (links,); a slack one has negative strain.
    rest
        Length of each link on the tube at rest (mm), shape (links,).
    arm
        Moment of a unit tension about the axis (mm), r sin(psi) at the current radius and angle,
        shape (links,).
    thread
        Number of the thread that the link belongs to, shape (links,).
    """

    family: ThreadFamily
    tension: Array
    strain: Array
    rest: Array
    arm: Array
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

    @property
    def mean_strain(self) -> float:
        """Mean strain along the threads; negative where slack is left."""
        return float(self.strain @ self.rest / self.rest.sum())

    def at_base(self, window: float) -> tuple[float, float]:
        """Return pull (N) and torque (N mm) of all threads of the family on the base.

        Both are means over the first `window` (mm) of each thread: beside the plate the tension of
        a single link depends on the mesh.
        """
        sums = np.zeros(2)
        numbers = np.unique(self.thread)
        for number in numbers:
            mine = self.thread == number
            ends = np.cumsum(self.rest[mine])
            inside = np.clip(window - (ends - self.rest[mine]), 0.0, self.rest[mine])
            pull = self.tension[mine] * inside / inside.sum()
            sums += [pull.sum(), pull @ self.arm[mine]]
        pull, torque = self.family.count / len(numbers) * sums
        return float(pull), float(torque)

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
    bore_stretch
        Radius of the bore at half length, as a multiple of that at rest.
    wall_stretch, wall_invariant
        Largest principal stretch and largest first invariant (of the volume-preserving part) in
        the wall.
    threads
        The families in the order of the case.
    """

    twist: float
    displacement: float
    outer_z: Array
    outer_growth: Array
    bore_stretch: float
    wall_stretch: float
    wall_invariant: float
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


def measures(snapshot: Snapshot, case: Case) -> dict[str, Any]:
    """Return the measures of a state by column name; the names carry the units.

    Margins are the share that is used up, 1 where something gives: `rubber_used` of the strain at
    which the rubber locks, `thread_used` of the breaking load. The bulge is never negative: at
    their ends the plates hold the tube's radius, of which the fast model knows nothing.
    """
    tube, rubber = case.tube, case.rubber
    middle = np.abs(snapshot.outer_z - tube.length / 2) < 1e-6 * tube.length
    row: dict[str, Any] = {
        "twist_deg": math.degrees(snapshot.twist),
        "displacement_mm": snapshot.displacement,
        "stretch": 1 + snapshot.displacement / tube.length,
        "mid_radius_mm": tube.outer_radius + float(snapshot.outer_growth[middle].mean()),
        "bulge_mm": float(snapshot.outer_growth.max(initial=0.0)),
        "bore_stretch": snapshot.bore_stretch,
        "wall_stretch_max": snapshot.wall_stretch,
    }
    if rubber.locking is not None:
        row["rubber_used"] = (snapshot.wall_invariant - 3) / rubber.locking
    for links in snapshot.threads:
        row |= _thread_measures(links, tube)
    return row


def _thread_measures(links: ThreadLinks, tube: Tube) -> dict[str, Any]:
    family, name = links.family, links.family.name
    pull, torque = links.at_base(tube.wall)
    peak = links.peak_tension(tube.wall)
    row = {
        f"tension_N.{name}": links.mean_tension,
        f"tension_peak_N.{name}": peak,
        f"thread_strain.{name}": links.mean_strain,
        f"taut.{name}": links.taut_share,
        f"spool_pull_N.{name}": pull,
        f"ring_torque_Nmm.{name}": torque,
        f"thread_length_mm.{name}": family.natural(family.length(tube.length)),
    }
    if family.breaking_load is not None:
        row[f"thread_used.{name}"] = peak / family.breaking_load
    return row
