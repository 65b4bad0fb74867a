"""Threads as tubes: along each taut part of a thread, and in dashes where it has no tension.

A body hands out threads as straight pieces. Here these are chained, and the chains sampled at fixed
shares of their length at rest, so that a thread has the same points in all states. Between the ends
of a piece radius, azimuth and height change evenly: samples follow the round wall, of which the
piece is a chord. Dashes begin elsewhere on each thread: in step they would make rings round the
tube.
"""

from __future__ import annotations

import math

import numpy as np

from fem.core.arrays import Array, Index, Mask
from fem.quantities.shape import ThreadCurves, polar_points, turned
from fem.scene.surface import from_front
from fem.scene.tube_sweep import Mesh, joined, sweep

SIDES, DASH_SIDES = 3, 3
"""Corners of the rings of tubes and of dashes: on a screen these are a few pixels wide."""

FEWEST, TURN = 24, math.radians(10)
"""A thread is cut into so many parts or more, and turns no further in one at rest."""

SHORTEST = 1e-12
"""A piece is taken to be at least so long, as a share of its thread: in files some are nil."""

GOLDEN = (math.sqrt(5) - 1) / 2
"""Its multiples spread evenly between whole numbers."""


class ThreadTubes:
    """The threads of one family in the whole tube, chained and sampled once for all states.

    Parameters
    ----------
    curves, sectors
        The threads in one of so many equal sectors.
    radius
        Of a drawn thread (mm); a dash is half as thick.
    dash
        Length of a dash, and of a gap, at rest (mm).
    wedge
        Azimuths at rest between which the wall is taken out where it is cut open, from the front.
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
        parts = max(FEWEST, math.ceil(self._chain.turn / TURN))
        threads = np.arange(len(self._chain.lengths))
        self._whole = Samples(
            self._chain, 2 * threads[:, None] + np.linspace(0, 1, parts + 1), wedge
        )
        self._dashes = Samples(self._chain, _dashes(self._chain.lengths, dash), wedge)

    def tubes(self, curves: ThreadCurves, taut: Mask) -> Mesh:
        """Return the threads in a state, in dashes where they carry no tension.

        Parameters
        ----------
        curves
            The threads.
        taut
            Which pieces carry tension, shape (pieces,).

        Returns
        -------
        Mesh
            Their values are the tension (N), nan on dashes.
        """
        now = turned(curves.ends, self._sectors)
        tension, taut = np.tile(curves.tension, self._sectors), np.tile(taut, self._sectors)
        along = tension[self._whole.pieces]  # (threads, parts)
        at_samples = (np.pad(along, _FIRST, "edge") + np.pad(along, _LAST, "edge")) / 2
        shown = taut[self._whole.pieces]
        lines = self._whole.sweep(now, self._radius, SIDES, shown, at_samples)
        slack = ~taut[self._dashes.pieces]
        none = np.full((len(slack), 2), np.nan)
        return joined([lines, self._dashes.sweep(now, self._radius / 2, DASH_SIDES, slack, none)])


_FIRST, _LAST = ((0, 0), (1, 0)), ((0, 0), (0, 1))


class Chain:
    """Pieces chained to threads.

    Thread k runs over the places from 2 k to 2 k + 1: so those of all threads are one sorted list.

    Parameters
    ----------
    rest
        Ends of the pieces at rest, in their order along each thread, shape (pieces, 2, 3), mm.

    Attributes
    ----------
    rest
        The same.
    lengths
        Length of each thread, shape (threads,), mm.
    turn
        How far the threads wind round the axis, the mean of all (rad).
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
        """Return the piece at each place, and which share of it lies before."""
        piece = np.searchsorted(self._starts, places, side="right") - 1
        share = (places - self._starts[piece]) / self._spans[piece]
        return piece, np.clip(share, 0.0, 1.0)


class Samples:
    """Lines of samples on a chain, shape (lines, samples).

    Parameters
    ----------
    chain
        The chain.
    places
        Where on it.
    wedge
        As of :class:`ThreadTubes`.

    Attributes
    ----------
    pieces
        The piece in the middle of each part between two samples, shape (lines, samples - 1).
    """

    def __init__(self, chain: Chain, places: Array, wedge: tuple[float, float]) -> None:
        places = _up_to(wedge, chain, places)
        self._piece, self._share = chain.find(places)
        middles = (places[:, :-1] + places[:, 1:]) / 2
        self.pieces, share = chain.find(middles)
        low, high = wedge
        angle = from_front(_between(chain.rest, self.pieces, share, 0.0))
        self._kept: Mask = (angle <= low) | (angle >= high)

    def sweep(self, now: Array, radius: float, sides: int, shown: Mask, values: Array) -> Mesh:
        """Return the tubes of this radius on the wall, from the ends of the pieces in a state."""
        lines = _between(now, self._piece, self._share, radius)
        return sweep(lines, radius, sides, shown, self._kept, values)


def _up_to(wedge: tuple[float, float], chain: Chain, places: Array) -> Array:
    """Return places, shape (lines, samples), of which those nearest to an edge are moved onto it.

    So a thread that is cut ends where the wall does.
    """
    places = places.copy()
    angle = from_front(_between(chain.rest, *chain.find(places), 0.0))
    for edge in wedge:
        before, after = angle[:, :-1] - edge, angle[:, 1:] - edge
        crosses = (before * after < 0) & (np.abs(after - before) < np.pi)  # no jump at the back
        line, part = np.nonzero(crosses)
        share = before[crosses] / (before - after)[crosses]
        start, end = places[line, part], places[line, part + 1]
        places[line, part + (share > 0.5)] = start + share * (end - start)
    return places


def _between(ends: Array, piece: Index, share: Array, above: float) -> Array:
    """Return places in pieces, at these shares of them and so far (mm) above the wall."""
    radius, angle, height = (first[piece] + rise[piece] * share for first, rise in _polar(ends))
    return polar_points(radius + above, angle, height)


def _polar(ends: Array) -> list[tuple[Array, Array]]:
    """Return radius, azimuth and height of the pieces' first ends, and their rises from there."""
    x, y, height = np.moveaxis(ends, -1, 0)
    radius, angle = np.hypot(x, y), np.arctan2(y, x)
    turn = (angle[:, 1] - angle[:, 0] + np.pi) % (2 * np.pi) - np.pi
    return [
        (radius[:, 0], radius[:, 1] - radius[:, 0]),
        (angle[:, 0], turn),
        (height[:, 0], height[:, 1] - height[:, 0]),
    ]


def _dashes(lengths: Array, dash: float) -> Array:
    """Return the places of start and end of each dash, shape (dashes, 2)."""
    places = []
    for thread, length in enumerate(lengths):
        phase = thread * GOLDEN % 1
        start = 2 * dash * (np.arange(math.ceil(length / (2 * dash)) + 1) - phase)
        ends = np.clip(np.column_stack([start, start + dash]), 0.0, length)
        ends = ends[ends[:, 1] - ends[:, 0] > 0.1 * dash] / length
        places.append(2 * thread + ends)
    return np.concatenate(places)
