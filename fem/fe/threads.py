r"""Threads immersed in the wall mesh: curves of links, one sparse operator a family.

A thread at rest is a curve X(s) on the tube with unit tangent a(s). At its quadrature points the
stretched tangent is linear in the displacement,

.. math:: g = F a = a + (\nabla u) a = a + B u, \qquad \lambda = |g|, \qquad (1)

where B holds the derivatives along a of the host cell's basis functions, found once: setting
another angle needs no new mesh. A thread is a chain of links, each with one tension from its own
length and its natural length l0 (1 + s),

.. math:: T = EA\, h\left(\frac{\ell}{(1 + s)\,\ell_0} - 1\right), \qquad
          \ell = \sum w \lambda. \qquad (2)

A bonded thread has a link to each passage through a cell. A gliding thread, held at the plates
alone, has one tension throughout: it is a single link. With G the derivative of the length,
G = sum w g/lambda B, the forces and the stiffness are

.. math:: f = T G, \qquad
   K = \frac{1}{(1 + s)\,\ell_0} \frac{dT}{de} G^T G
     + \sum \frac{w T}{\lambda} B^T (I - \hat g \hat g^T) B. \qquad (3)

The first term couples all that a link touches: within a cell if it is bonded, along the whole
thread if it glides; then it is handed out as a term of rank one (:mod:`fem.fe.lowrank`).

Were the law applied point by point instead, the strain of a stiff thread would oscillate inside
a cell and a law that knows only tension would rectify it: the mean tension comes out 12 % high.

In a sector, the passages of a thread through the other sectors are turned back into it; its
cells then carry the passages of all threads.

Source: derived here (chain rule).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fem.arrays import Array, Index
from fem.fe.broken import DISPLACEMENTS
from fem.fe.outer import OuterFace
from fem.fe.shortest import DeformedFace, shortest_path
from fem.measure import ThreadLinks
from fem.shape import ThreadCurves
from fem.thread import ThreadFamily

POINTS = 3
"""Gauss points in a passage."""

SETTLED = 1e-5
"""A path that moves sideways by less (rad) stays where it is: its length is off by the square."""


@dataclass(frozen=True)
class Passages:
    """Where the threads of one family run, passage by passage in their order along each thread.

    Attributes
    ----------
    thread
        Number of the thread in the body, from 0; shape (links,).
    z
        Ends of the passage at rest, shape (links, 2), mm.
    theta
        Azimuth of these ends, not turned back; shape (links, 2), rad.
    """

    thread: Index
    z: Array
    theta: Array


def helices(family: ThreadFamily, face: OuterFace) -> tuple[Array, Array]:
    """Return knots of the threads that belong to the body, where they may bend as they move.

    Returns
    -------
    tuple
        Heights, shape (knots,), mm, and azimuths, shape (threads, knots), rad, all at rest.
    """
    straight = family.hold != "free path"
    z = np.linspace(0.0, face.length, 2 if straight else 4 * face.body.cells.axial + 1)
    start = 2 * np.pi * np.arange(family.count // face.body.sectors) / family.count
    return z, start[:, None] + family.turn_rate(face.radius) * z


def cut_paths(z: Array, theta: Array, face: OuterFace) -> Passages:
    """Cut paths where they cross from cell to cell.

    A path crosses the mesh planes normal to the axis at given z, and those through the axis where
    theta is a multiple of their spacing.

    Parameters
    ----------
    z, theta
        Knots of each path, between which theta is linear in z; shapes (knots,), mm, and
        (threads, knots), rad.
    face
        The face that they run on.
    """
    length = face.length
    planes = np.union1d(z, np.linspace(0.0, length, face.body.cells.axial + 1))
    parts = []
    for number, angle in enumerate(theta):
        cuts = [planes, *_crossings(z, angle, face.spacing)]
        cut = np.sort(np.clip(np.concatenate(cuts), 0.0, length))
        cut = cut[np.append(True, np.diff(cut) > 1e-9 * length)]
        cut[-1] = length
        at = np.interp(cut, z, angle)
        ends = (np.column_stack([one[:-1], one[1:]]) for one in (cut, at))
        parts.append((np.full(len(cut) - 1, number), *ends))
    return Passages(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _crossings(z: Array, theta: Array, spacing: float) -> Iterator[Array]:
    """Yield where each straight piece of a path crosses planes through the axis."""
    for k in np.flatnonzero(np.diff(theta)):
        low, high = np.sort(theta[k : k + 2]) / spacing
        planes = np.arange(np.ceil(low), np.floor(high) + 1) * spacing
        yield z[k] + (planes - theta[k]) * (z[k + 1] - z[k]) / (theta[k + 1] - theta[k])


class ImmersedFamily:
    """The threads of one family in a body.

    Parameters
    ----------
    family, face
        The threads, and the face that they run on.
    stands_for
        The family as the case has it, where `family` is spread over another number of threads.

    Attributes
    ----------
    passages
        Where the threads run.
    host
        Cell of each passage, shape (passages,).
    cells
        The cells that host any, shape (hosts,), ascending.
    rest
        Length of each passage at rest, shape (passages,), mm.
    link
        Number of the link that each passage belongs to, shape (passages,).
    gliding
        Whether a link is a whole thread.
    movable
        Whether the threads may move sideways.
    paths
        Azimuths of each thread's knots, shape (threads, knots), rad, at rest.
    """

    def __init__(
        self,
        family: ThreadFamily,
        face: OuterFace,
        stands_for: ThreadFamily | None = None,
    ) -> None:
        self.family = family
        self.face = face
        self._own = stands_for or family
        self._per_own = self._own.stiffness / family.stiffness  # tension of one of its own threads
        self.gliding = family.hold != "bonded"
        self.movable = family.hold == "free path"
        self._knots, helix = helices(family, face)
        self.lay(helix)
        # the threads keep their length where they move sideways later
        self._helix = np.bincount(self.link, self.rest)
        self._natural = family.natural(self._helix)

    def lay(self, paths: Array) -> None:
        """Lay the threads along paths through the same knots."""
        self.paths = paths
        face, body = self.face, self.face.body
        self.passages = passages = cut_paths(self._knots, paths, face)
        self.link = passages.thread if self.gliding else np.arange(len(passages.thread))
        gauss, weights = np.polynomial.legendre.leggauss(POINTS)
        rise, turn = np.diff(passages.z, axis=1), np.diff(passages.theta, axis=1)
        length = np.hypot(rise, face.radius * turn)  # (passages, 1)
        self._weights = length * weights / 2  # (passages, points)
        self.rest = self._weights.sum(axis=1)
        self.host, self._back = face.find(passages.theta.mean(axis=1), passages.z.mean(axis=1))
        self._order = np.argsort(self.host, kind="stable")
        self.cells, self._starts = np.unique(self.host[self._order], return_index=True)
        z = passages.z[:, :1] + rise * (gauss + 1) / 2
        theta = passages.theta[:, :1] + turn * (gauss + 1) / 2 - self._back[:, None]
        sin, cos = face.radius * turn / length, rise / length
        self._tangent = np.stack(
            [-sin * np.sin(theta), sin * np.cos(theta), cos + 0 * theta], axis=-1
        )
        self._nodes = body.connectivity[self.host]
        self._rest_position = body.nodes[self._nodes]
        self._at_points, slopes = face.basis(self.host, face.at(theta, z))
        self._derivative = (slopes @ self._tangent[..., None])[..., 0]  # B, (passages, points, 27)
        ends = face.at(passages.theta - self._back[:, None], passages.z)
        self._at_ends, _ = face.basis(self.host, ends)

    def tighten(self, share: float) -> None:
        """Wind in only `share` of what the threads are too short by."""
        self._natural = self.family.tightened(share).natural(self._helix)

    def settle(self, displacement: Array) -> bool:
        """Lay the threads along the shortest paths; return whether they moved."""
        face = DeformedFace(self.face, displacement)
        paths = np.array([shortest_path(face, self._knots, path) for path in self.paths])
        moved = np.abs(paths - self.paths).max() > SETTLED
        if moved:
            self.lay(paths)
        return bool(moved)

    def stretch(self, displacement: Array) -> tuple[Array, Array]:
        """Return lambda, shape (passages, points), and g/lambda of eq. (1), (..., 3)."""
        stretched = self._tangent + self._derivative @ displacement[self._nodes]
        stretch = np.linalg.norm(stretched, axis=-1)
        return stretch, stretched / stretch[..., None]

    def strain(self, displacement: Array) -> Array:
        """Return the strain of each link, shape (links,), for nodal displacements (nodes, 3)."""
        stretch, _ = self.stretch(displacement)
        return self._strain(stretch)

    def _strain(self, stretch: Array) -> Array:
        length = np.bincount(self.link, (self._weights * stretch).sum(axis=1))
        return np.asarray(length / self._natural - 1.0)

    def tension(self, displacement: Array) -> Array:
        """Return the tension of the case's own threads in each passage, shape (passages,), N."""
        tension, _ = self.family.tension(self.strain(displacement))
        return self._per_own * tension[self.link]

    def links(self, displacement: Array) -> ThreadLinks:
        """Return the passages as the measures want them."""
        strain = self.strain(displacement)
        _, direction = self.stretch(displacement)
        x = self._at_points @ (self._rest_position + displacement[self._nodes])
        arm = x[..., 0] * direction[..., 1] - x[..., 1] * direction[..., 0]
        return ThreadLinks(
            self._own,
            tension=self.tension(displacement),
            strain=strain[self.link],
            rest=self.rest,
            arm=(self._weights * arm).sum(axis=1) / self.rest,
            thread=self.passages.thread,
        )

    def curves(self, displacement: Array) -> ThreadCurves:
        """Return the passages as straight lines for pictures."""
        return ThreadCurves(
            self.family.name,
            rest=self.positions(np.zeros_like(displacement)),
            ends=self.positions(displacement),
            tension=self.tension(displacement),
        )

    def positions(self, displacement: Array) -> Array:
        """Return the current ends of each passage, not turned back, shape (passages, 2, 3), mm."""
        x, y, z = np.moveaxis(
            self._at_ends @ (self._rest_position + displacement[self._nodes]), -1, 0
        )
        cos, sin = np.cos(self._back)[:, None], np.sin(self._back)[:, None]
        return np.stack([cos * x - sin * y, sin * x + cos * y, z], axis=-1)

    def energy(self, displacement: Array) -> float:
        """Return the energy stored in the body's threads (N mm)."""
        return float(self._natural @ self.family.energy(self.strain(displacement)))

    def _length_gradient(self, direction: Array) -> Array:
        """Return the part of each passage in G, shape (passages, 81)."""
        weighted = self._weights[..., None] * self._derivative  # (passages, points, 27)
        return (weighted.swapaxes(1, 2) @ direction).reshape(-1, DISPLACEMENTS)

    def forces(self, displacement: Array) -> Array:
        """Return f of eq. (3) in each of `cells`, shape (hosts, 81), N."""
        stretch, direction = self.stretch(displacement)
        tension, _ = self.family.tension(self._strain(stretch))
        forces = tension[self.link, None] * self._length_gradient(direction)
        return np.asarray(np.add.reduceat(forces[self._order], self._starts))

    def stiffness(self, displacement: Array) -> Array:
        """Return K of eq. (3) in each of `cells`, shape (hosts, 81, 81), N/mm.

        Of gliding threads it is the second term only. It is written as A'A: of each passage one row
        of A holds G, the others hold B across the thread.
        """
        stretch, direction = self.stretch(displacement)
        tension, slope = self.family.tension(self._strain(stretch))
        across = np.eye(3) - direction[..., :, None] * direction[..., None, :]
        across *= np.sqrt(self._weights * tension[self.link, None] / stretch)[..., None, None]
        rows = self._derivative[..., None, :, None] * across[..., :, None, :]
        rows = rows.reshape(len(stretch), -1, DISPLACEMENTS)
        if not self.gliding:
            along = np.sqrt(slope / self._natural)[:, None] * self._length_gradient(direction)
            rows = np.concatenate([along[:, None, :], rows], axis=1)
        stiffness = np.zeros((len(self.cells), DISPLACEMENTS, DISPLACEMENTS))
        for cell, passages in enumerate(np.split(self._order, self._starts[1:])):
            A = rows[passages[slope[self.link[passages]] > 0]].reshape(-1, DISPLACEMENTS)
            if len(A):  # slack threads resist nothing
                stiffness[cell] = A.T @ A
        return stiffness

    def rank_one(self, displacement: Array) -> tuple[Array, Array]:
        """Return the first term of K of gliding threads as factors of its terms of rank one.

        Returns
        -------
        tuple
            The part of each passage in G, shape (passages, 81), and the factor dT/de / l0(1 + s)
            of each link, shape (links,), N/mm.
        """
        stretch, direction = self.stretch(displacement)
        _, slope = self.family.tension(self._strain(stretch))
        return self._length_gradient(direction), slope / self._natural
