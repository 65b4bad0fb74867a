"""Values of a state, or of many states, from which the quantities are computed.

A model returns :class:`TubeValues`; :mod:`fem.quantities.table` converts them to the columns of the
step table.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.case.thread_family import ThreadFamily
from fem.case.tube import Tube
from fem.core.arrays import Array, Index

ROUND_OFF = 1e-12
"""A tension below this fraction of EA is round-off."""


@dataclass(frozen=True)
class ThreadSegments:
    """The segments of the threads of one family, in their order along each thread from the base.

    Attributes
    ----------
    family
        The family.
    tension, strain
        Tension (N) and strain of each segment, shape (segments,); a slack one has negative strain.
    rest
        Length of each segment on the tube at rest (mm), shape (segments,).
    arm
        Moment of a unit tension about the axis (mm), r sin(psi) at the current radius and angle,
        shape (segments,).
    thread
        Number of the thread of each segment, shape (segments,).
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
    def taut_fraction(self) -> float:
        """Fraction of the thread length under tension."""
        taut = carries(self.tension, self.family.stiffness)
        return float(self.rest[taut].sum() / self.rest.sum())

    @property
    def mean_strain(self) -> float:
        """Mean strain along the threads; negative if slack remains."""
        return float(self.strain @ self.rest / self.rest.sum())

    def at_base(self, window: float) -> tuple[float, float]:
        """Return pull (N) and torque (N mm) of all threads of the family on the base.

        Both are averaged over the first `window` (mm) of each thread: next to the plate the tension
        of a single segment depends on the mesh.
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
        """Return the greatest mean tension over a part of a thread of length `window` (N)."""
        return max(
            _greatest_mean(self.tension[mine], self.rest[mine], window)
            for mine in (self.thread == number for number in np.unique(self.thread))
        )

    def values(self, tube: Tube) -> ThreadValues:
        """Return the values of the family on a tube."""
        pull, torque = self.at_base(tube.wall)
        return ThreadValues(
            name=self.family.name,
            tension=self.mean_tension,
            peak=self.peak_tension(tube.wall),
            strain=self.mean_strain,
            taut_fraction=self.taut_fraction,
            pull=pull,
            torque=torque,
            length=self.family.natural(self.family.helix(tube).length),
            breaking_load=self.family.breaking_load,
        )


def carries(tension: Array, stiffness: Any) -> Any:
    """Return whether a tension (N) of threads of axial stiffness EA is more than round-off."""
    return tension > ROUND_OFF * stiffness


def _greatest_mean(values: Array, lengths: Array, window: float) -> float:
    """Return the greatest running mean of a piecewise constant function.

    Its integral is piecewise linear, so at the maximum one end of the window is an end of a piece.
    """
    ends = np.concatenate([[0.0], np.cumsum(lengths)])
    integral = np.concatenate([[0.0], np.cumsum(values * lengths)])
    window = min(window, ends[-1])
    starts = np.clip(np.concatenate([ends, ends - window]), 0.0, ends[-1] - window)
    gain = np.interp(starts + window, ends, integral) - np.interp(starts, ends, integral)
    return float(gain.max() / window)


@dataclass(frozen=True)
class Reactions:
    """Force and torque of wall and threads in a section: numbers, or arrays of many states.

    Attributes
    ----------
    force
        Axial force, positive for tension (N).
    torque
        Torque about the axis (N mm).
    bore_area
        Area of the bore in the section, on which the pressure acts (mm2).
    """

    force: Any
    torque: Any
    bore_area: Any


@dataclass(frozen=True)
class ThreadValues:
    """Values of the threads of one family: numbers, or arrays of many states.

    Attributes
    ----------
    name
        Name of the family.
    tension, peak, strain, taut_fraction
        Mean and greatest tension (N), mean strain, and fraction of the length under tension.
    pull, torque
        Pull (N) and torque (N mm) of all threads on the base.
    length
        Natural length of a thread (mm).
    breaking_load
        Tension at which one breaks (N), or None.
    """

    name: str
    tension: Any
    peak: Any
    strain: Any
    taut_fraction: Any
    pull: Any
    torque: Any
    length: Any
    breaking_load: Any


@dataclass(frozen=True)
class TubeValues:
    """Values of a state: numbers, or arrays with one element per state.

    Attributes
    ----------
    twist, displacement
        Rotation (rad) and axial displacement (mm) of the free end.
    length, radius
        Length and outer radius of the tube at rest (mm).
    growth, greatest_growth
        Increase of the outer radius at half length, and the greatest along the tube (mm).
    bore_stretch
        Radius of the bore at half length divided by that at rest.
    wall_stretch, wall_invariant
        Largest principal stretch and largest first invariant (of the volume-preserving part) in
        the wall.
    locking
        The value of I1 - 3 at which the rubber locks, or None.
    threads
        The families in the order of the case.
    """

    twist: Any
    displacement: Any
    length: Any
    radius: Any
    growth: Any
    greatest_growth: Any
    bore_stretch: Any
    wall_stretch: Any
    wall_invariant: Any
    locking: Any
    threads: list[ThreadValues]


@dataclass(frozen=True)
class Step:
    """A recorded state of a path, or many states: numbers, or arrays with one element per state.

    Pressure in MPa, volume in mm3, added air in mg (None without a drive by air), force in N and
    torque in N mm on the free end; the rest as defined in the table of quantities.
    """

    model: str
    step: Any
    pressure: Any
    requested: Any
    volume: Any
    tube: TubeValues
    force: Any
    torque: Any
    energy_gap: Any
    iterations: Any
    stable: Any
    limit: Any
    air: Any = None
