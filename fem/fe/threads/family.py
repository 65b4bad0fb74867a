r"""Threads immersed in the wall mesh: curves of links, one sparse operator a family.

The lengths of a thread's passages through the cells are smooth functions of the displacement of
their host cells (:mod:`fem.fe.threads.kinematics`, :mod:`fem.fe.threads.geodesic`), with the
derivatives found once: setting another angle needs no new mesh. A thread is a chain of links, each
with one tension from its own length and its natural length l0 (1 + s),

.. math:: T = EA\, h\left(\frac{\ell}{(1 + s)\,\ell_0} - 1\right). \qquad (1)

A bonded thread has a link to each passage through a cell. A gliding thread, held at the plates
alone, has one tension throughout: it is a single link. With G the derivative of the length, the
forces and the stiffness are

.. math:: f = T G, \qquad
   K = \frac{1}{(1 + s)\,\ell_0} \frac{dT}{de} G^T G + T \frac{d^2\ell}{du^2}. \qquad (2)

The first term couples all that a link touches: within a cell if it is bonded, along the whole
thread if it glides; then it is handed out as a term of rank one (:mod:`fem.fe.system.low_rank`). So
is what couples the whole of a thread in the second, where it is free to move sideways.

Were the law applied point by point instead, the strain of a stiff thread would oscillate inside
a cell and a law that knows only tension would rectify it: the mean tension comes out 12 % high.

In a sector, the passages of a thread through the other sectors are turned back into it; its
cells then carry the passages of all threads.

Source: derived here (chain rule).
"""

from __future__ import annotations

import numpy as np

from fem.case.thread_family import ThreadFamily
from fem.core.arrays import Array, Index
from fem.fe.mesh.outer_face import OuterFace
from fem.fe.threads.geodesic import GeodesicCourse
from fem.fe.threads.kinematics import Course, Points
from fem.fe.threads.segments import Passages, cut_helices
from fem.fe.wall.cell_forms import DISPLACEMENTS
from fem.quantities.measures import ThreadLinks
from fem.quantities.shape import ThreadCurves

POINTS = 3
"""Gauss points in a passage."""

PIECES = 2
"""Straight pieces that a passage is drawn in."""


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
    thread
        Number of the thread in the body of each passage, from 0; shape (passages,).
    z
        Heights of the passages' ends at rest, shape (passages, 2), mm.
    host
        Cell of each passage, shape (passages,).
    cells
        The cells that host any, shape (hosts,), ascending.
    rest
        Length of each passage at rest, shape (passages,), mm.
    gliding
        Whether a link is a whole thread.
    link
        Number of the link that each passage belongs to, shape (passages,).
    """

    def __init__(
        self,
        family: ThreadFamily,
        face: OuterFace,
        stands_for: ThreadFamily | None = None,
    ) -> None:
        self.family = family
        self._own = stands_for or family
        self._per_own = self._own.stiffness / family.stiffness  # tension of one of its own threads
        self._follow = GeodesicCourse if family.hold == "free path" else Course
        self._last: tuple[Array, Course] | None = None  # displacement, and what follows from it
        self._place(face)
        self.gliding = family.hold != "bonded"
        self.link = self.thread if self.gliding else np.arange(len(self.thread))
        self._link_rest = np.bincount(self.link, self.rest)
        self._natural = family.natural(self._link_rest)

    def _place(self, face: OuterFace) -> None:
        """Find the passages, their hosts, and the basis functions at their points and ends."""
        passages = cut_helices(self.family, face)
        self.thread, self.z = passages.thread, passages.z
        self.host, self._back = face.find(passages.theta.mean(axis=1), passages.z.mean(axis=1))
        self._order = np.argsort(self.host, kind="stable")
        self.cells, self._starts = np.unique(self.host[self._order], return_index=True)
        self._by_cell = self._passages_by_cell()
        self._nodes = face.body.connectivity[self.host]
        self._at = self._points(passages, face)
        self.rest = self._at.weights.sum(axis=1)
        share = np.linspace(0.0, 1.0, PIECES + 1)
        self._between = np.stack([1 - share, share])  # from the ends of a passage to its stations
        theta = passages.theta @ self._between - self._back[:, None]
        self._stations = face.at(theta, passages.z @ self._between)
        self._at_stations, _ = face.basis(self.host, self._stations)

    def _passages_by_cell(self) -> Index:
        """Return the passages of each cell in a row, filled up with one that there is not."""
        counts = np.bincount(np.searchsorted(self.cells, self.host))
        table = np.full((len(self.cells), counts.max()), len(self.host))
        table[np.arange(counts.max()) < counts[:, None]] = self._order
        return table

    def _points(self, passages: Passages, face: OuterFace) -> Points:
        gauss, weights = np.polynomial.legendre.leggauss(POINTS)
        rise, turn = np.diff(passages.z, axis=1), np.diff(passages.theta, axis=1)
        length = np.hypot(rise, face.radius * turn)  # (passages, 1)
        z = passages.z[:, :1] + rise * (gauss + 1) / 2
        theta = passages.theta[:, :1] + turn * (gauss + 1) / 2 - self._back[:, None]
        sin, cos = face.radius * turn / length, rise / length
        tangent = np.stack([-sin * np.sin(theta), sin * np.cos(theta), cos + 0 * theta], axis=-1)
        position = face.at(theta, z)
        value, slopes = face.basis(self.host, position)
        derivative = (slopes @ tangent[..., None])[..., 0]
        return Points(self.thread, length * weights / 2, position, tangent, value, derivative)

    def tighten(self, share: float) -> None:
        """Wind in only `share` of what the threads are too short by."""
        self._natural = self.family.tightened(share).natural(self._link_rest)

    def course(self, displacement: Array) -> Course:
        """Return how the threads run under nodal displacements, shape (nodes, 3), mm.

        Energy, forces and stiffness ask for the same one in turn: the last is kept.
        """
        if self._last is None or displacement is not self._last[0]:
            self._last = displacement, self._follow(self._at, displacement[self._nodes])
        return self._last[1]

    def strain(self, displacement: Array) -> Array:
        """Return the strain of each link, shape (links,), for nodal displacements (nodes, 3)."""
        return self._strain(self.course(displacement))

    def _strain(self, course: Course) -> Array:
        return np.asarray(np.bincount(self.link, course.length) / self._natural - 1.0)

    def tension(self, displacement: Array) -> Array:
        """Return the tension of the case's own threads in each passage, shape (passages,), N."""
        tension, _ = self.family.tension(self.strain(displacement))
        return self._per_own * tension[self.link]

    def links(self, displacement: Array) -> ThreadLinks:
        """Return the passages as the measures want them."""
        course = self.course(displacement)
        x, along = course.position, course.direction
        arm = x[..., 0] * along[..., 1] - x[..., 1] * along[..., 0]
        return ThreadLinks(
            self._own,
            tension=self.tension(displacement),
            strain=self._strain(course)[self.link],
            rest=self.rest,
            arm=(self._at.weights * arm).sum(axis=1) / self.rest,
            thread=self.thread,
        )

    def curves(self, displacement: Array) -> ThreadCurves:
        """Return the passages in straight pieces for pictures."""
        rest, now = self.positions(np.zeros_like(displacement)), self.positions(displacement)
        rest, now = (np.stack([x[:, :-1], x[:, 1:]], axis=2).reshape(-1, 2, 3) for x in (rest, now))
        tension = np.repeat(self.tension(displacement), PIECES)
        return ThreadCurves(self.family.name, rest=rest, ends=now, tension=tension)

    def positions(self, displacement: Array) -> Array:
        """Return where stations along each passage are now, from end to end, not turned back.

        Shape (passages, PIECES + 1, 3), mm.
        """
        moved = self._stations + self._at_stations @ displacement[self._nodes]
        x, y, z = np.moveaxis(moved, -1, 0)
        turn = self._back[:, None] + self.course(displacement).shift @ self._between
        cos, sin = np.cos(turn), np.sin(turn)
        return np.stack([cos * x - sin * y, sin * x + cos * y, z], axis=-1)

    def energy(self, displacement: Array) -> float:
        """Return the energy stored in the body's threads (N mm)."""
        return float(self._natural @ self.family.energy(self.strain(displacement)))

    def forces(self, displacement: Array) -> Array:
        """Return f of eq. (2) in each of `cells`, shape (hosts, 81), N."""
        course = self.course(displacement)
        tension, _ = self.family.tension(self._strain(course))
        forces = tension[self.link, None] * course.gradient()
        return np.asarray(np.add.reduceat(forces[self._order], self._starts))

    def stiffness(self, displacement: Array) -> Array:
        """Return K of eq. (2) in each of `cells`, shape (hosts, 81, 81), N/mm.

        Without what couples the whole of a gliding thread.
        """
        course = self.course(displacement)
        tension, slope = self.family.tension(self._strain(course))
        if not slope.any():  # slack threads resist nothing
            return np.zeros((len(self.cells), DISPLACEMENTS, DISPLACEMENTS))
        stiff, soft = course.stiffening(tension[self.link]), course.softening(tension[self.link])
        if not self.gliding:
            along = np.sqrt(slope / self._natural)[:, None] * course.gradient()
            stiff = np.concatenate([along[:, None, :], stiff], axis=1)
        stiffness = self._squared(stiff)
        if soft.size:
            stiffness -= self._squared(soft)
        return stiffness

    def _squared(self, rows: Array) -> Array:
        """Return the sums of R'R over the passages of each cell, shape (hosts, 81, 81).

        `rows` is R of each passage, shape (passages, any, 81).
        """
        filled = np.concatenate([rows, np.zeros_like(rows[:1])])[self._by_cell]
        by_cell = filled.reshape(len(self.cells), -1, DISPLACEMENTS)
        return np.matmul(by_cell.swapaxes(1, 2), by_cell)

    def rank_one(self, displacement: Array) -> list[tuple[Array, Array]]:
        """Return the terms of K that couple the whole of a gliding thread.

        Returns
        -------
        list
            For each term k v v': v, shape (passages, 81), and k by link, shape (links,), N/mm.
        """
        course = self.course(displacement)
        tension, slope = self.family.tension(self._strain(course))
        along = (course.gradient(), slope / self._natural)
        return [along, *((v, tension * k) for v, k in course.couplings())]
