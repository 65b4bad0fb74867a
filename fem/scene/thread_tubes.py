"""Threads as tubes along their taut parts, and as dashes where they have no tension.

The threads of a shape are straight segments. Here these are chained, and the chains sampled at
fixed shares of their length at rest, so that a thread has the same points in all states. Radius,
azimuth and height change linearly along a segment: samples follow the round wall, of which the
segment is a chord. Dashes start at a different place on each thread; otherwise they would form
rings around the tube.
"""

from __future__ import annotations

import math

import numpy as np

from fem.core.arrays import Array, Index, Mask
from fem.quantities.shape import ThreadCurves, polar_points, turned
from fem.scene.surface import from_front
from fem.scene.tube_sweep import Mesh, joined, sweep

SIDES, DASH_SIDES = 3, 3
"""Corners of the cross-sections of tubes and dashes, which are a few pixels wide on a screen."""

MIN_PARTS, MAX_TURN = 24, math.radians(10)
"""Least number of parts of a thread, and greatest turn of one around the axis at rest (rad)."""

SHORTEST = 1e-12
"""Least length of a segment, as a share of its thread: in files some have length zero."""

GOLDEN = (math.sqrt(5) - 1) / 2
"""The fractional parts of its multiples are evenly spread between 0 and 1."""


class ThreadTubes:
    """The threads of one family in the complete tube, chained and sampled once for all states.

    Parameters
    ----------
    curves, sectors
        The threads in one of several equal sectors, and the number of sectors.
    radius
        Radius of a drawn thread (mm); a dash is half as thick.
    dash
        Length of a dash, and of a gap, at rest (mm).
    wedge
        Azimuths at rest between which the wall is removed when cut open, from the front (rad).
    """

    def __init__(
        self,
        curves: ThreadCurves,
        sectors: int,
        radius: float,
        dash: float,
        wedge: tuple[float, float],
    ) -> None:
        self._sectors, self._radius = sectors, radius
        self._chain = Chain(turned(curves.rest, sectors))
        parts = max(MIN_PARTS, math.ceil(self._chain.turn / MAX_TURN))
        threads = np.arange(len(self._chain.lengths))
        self._lines = Samples(
            self._chain, 2 * threads[:, None] + np.linspace(0, 1, parts + 1), wedge
        )
        self._dashes = Samples(self._chain, _dashes(self._chain.lengths, dash), wedge)

    def tubes(self, curves: ThreadCurves, taut: Mask) -> Mesh:
        """Return the threads in a state, as dashes where they have no tension.

        Parameters
        ----------
        curves
            The threads.
        taut
            Which segments carry tension, shape (segments,).

        Returns
        -------
        Mesh
            Its values are the tension (N), nan on dashes.
        """
        now = turned(curves.ends, self._sectors)
        tension, taut = np.tile(curves.tension, self._sectors), np.tile(taut, self._sectors)
        along = tension[self._lines.segments]  # (threads, parts)
        at_samples = (np.pad(along, _FIRST, "edge") + np.pad(along, _LAST, "edge")) / 2
        shown = taut[self._lines.segments]
        lines = self._lines.sweep(now, self._radius, SIDES, shown, at_samples)
        slack = ~taut[self._dashes.segments]
        none = np.full((len(slack), 2), np.nan)
        return joined([lines, self._dashes.sweep(now, self._radius / 2, DASH_SIDES, slack, none)])


_FIRST, _LAST = ((0, 0), (1, 0)), ((0, 0), (0, 1))


class Chain:
    """Pieces chained to threads.

    Thread k has the coordinates from 2 k to 2 k + 1, so that those of all threads are one sorted
    list.

    Parameters
    ----------
    rest
        Ends of the segments at rest, in their order along each thread, shape (segments, 2, 3), mm.

    Attributes
    ----------
    rest
        The same.
    lengths
        Length of each thread, shape (threads,), mm.
    turn
        Mean turn of the threads around the axis (rad).
    """

    def __init__(self, rest: Array) -> None:
        self.rest = rest
        length = np.linalg.norm(rest[:, 1] - rest[:, 0], axis=1)
        gap = np.linalg.norm(rest[1:, 0] - rest[:-1, 1], axis=1)
        begins = np.append(True, gap > 1e-2 * length.mean())
        thread = np.cumsum(begins) - 1
        self.lengths = np.bincount(thread, length)
        before = np.cumsum(length) - length
        self._starts = 2 * thread + (before - before[begins][thread]) / self.lengths[thread]
        self._spans = np.maximum(length / self.lengths[thread], SHORTEST)
        self.turn = float(np.abs(_polar(rest)[1][1]).sum()) / len(self.lengths)

    def find(self, places: Array) -> tuple[Index, Array]:
        """Return the segment at each place, and the share of it before the place."""
        segment = np.searchsorted(self._starts, places, side="right") - 1
        share = (places - self._starts[segment]) / self._spans[segment]
        return segment, np.clip(share, 0.0, 1.0)


class Samples:
    """Lines of samples on a chain, shape (lines, samples).

    Parameters
    ----------
    chain
        The chain.
    places
        Coordinates on it.
    wedge
        See :class:`ThreadTubes`.

    Attributes
    ----------
    segments
        The segment in the middle of each part between two samples, shape (lines, samples - 1).
    """

    def __init__(self, chain: Chain, places: Array, wedge: tuple[float, float]) -> None:
        places = _up_to(wedge, chain, places)
        self._segment, self._share = chain.find(places)
        middles = (places[:, :-1] + places[:, 1:]) / 2
        self.segments, share = chain.find(middles)
        low, high = wedge
        angle = from_front(_between(chain.rest, self.segments, share, 0.0))
        self._kept: Mask = (angle <= low) | (angle >= high)

    def sweep(self, now: Array, radius: float, sides: int, shown: Mask, values: Array) -> Mesh:
        """Return tubes of a radius on the wall, from the present ends of the segments."""
        lines = _between(now, self._segment, self._share, radius)
        return sweep(lines, radius, sides, shown, self._kept, values)


def _up_to(wedge: tuple[float, float], chain: Chain, places: Array) -> Array:
    """Return places, shape (lines, samples), with those nearest to an edge moved onto it.

    A thread that is cut therefore ends where the wall ends.
    """
    places = places.copy()
    angle = from_front(_between(chain.rest, *chain.find(places), 0.0))
    for edge in wedge:
        before, after = angle[:, :-1] - edge, angle[:, 1:] - edge
        crosses = (before * after < 0) & (
            np.abs(after - before) < np.pi
        )  # not the jump of the azimuth at the back
        line, part = np.nonzero(crosses)
        share = before[crosses] / (before - after)[crosses]
        start, end = places[line, part], places[line, part + 1]
        places[line, part + (share > 0.5)] = start + share * (end - start)
    return places


def _between(ends: Array, segment: Index, share: Array, above: float) -> Array:
    """Return points at shares of segments, at a height `above` the wall (mm)."""
    radius, angle, height = (first[segment] + rise[segment] * share for first, rise in _polar(ends))
    return polar_points(radius + above, angle, height)


def _polar(ends: Array) -> list[tuple[Array, Array]]:
    """Return radius, azimuth and height of the first ends of segments, and their increments."""
    x, y, height = np.moveaxis(ends, -1, 0)
    radius, angle = np.hypot(x, y), np.arctan2(y, x)
    turn = (angle[:, 1] - angle[:, 0] + np.pi) % (2 * np.pi) - np.pi
    return [
        (radius[:, 0], radius[:, 1] - radius[:, 0]),
        (angle[:, 0], turn),
        (height[:, 0], height[:, 1] - height[:, 0]),
    ]


def _dashes(lengths: Array, dash: float) -> Array:
    """Return start and end of each dash, shape (dashes, 2)."""
    places = []
    for thread, length in enumerate(lengths):
        phase = thread * GOLDEN % 1
        start = 2 * dash * (np.arange(math.ceil(length / (2 * dash)) + 1) - phase)
        ends = np.clip(np.column_stack([start, start + dash]), 0.0, length)
        ends = ends[ends[:, 1] - ends[:, 0] > 0.1 * dash] / length
        places.append(2 * thread + ends)
    return np.concatenate(places)
