r"""Threads immersed in the wall mesh: a family is a part of the model, with one sparse operator.

The lengths of a thread's segments, one to each cell that it runs through, are smooth functions of
the displacement of their host cells (:mod:`fem.fe.threads.kinematics`,
:mod:`fem.fe.threads.geodesic`), with the derivatives found once: setting another angle needs no new
mesh. A thread is a chain of truss elements, each with one tension from its own length and its
natural length l0 (1 + s),

.. math:: T = EA\, h\left(\frac{\ell}{(1 + s)\,\ell_0} - 1\right). \qquad (1)

In a bonded thread each segment is an element. A sliding thread, held at the plates alone, has one
tension throughout: it is a single cable element. With G the derivative of the length, the forces
and the stiffness are

.. math:: f = T G, \qquad
   K = \frac{1}{(1 + s)\,\ell_0} \frac{dT}{de} G^T G + T \frac{d^2\ell}{du^2}. \qquad (2)

The first term couples all that an element touches: within a cell if it is bonded, along the whole
thread if it slides; then it is a term of rank one (:mod:`fem.fe.system.low_rank`). So is what
couples the whole of a thread in the second, the geometric stiffness, where the thread is free to
move sideways.

Were the law applied point by point instead, the strain of a stiff thread would oscillate inside
a cell and a law that knows only tension would rectify it: the mean tension comes out 12 % high.

In a sector, the segments of a thread in the other sectors are turned back into it; its cells then
carry the segments of all threads.

See also eqs. (20) and (32) of docs/theory.md.

Source: derived here (chain rule).
"""

from __future__ import annotations

import numpy as np

from fem.case.thread_family import ThreadFamily
from fem.core.arrays import Array, Index
from fem.fe.mesh.outer_face import OuterFace
from fem.fe.part import Evaluation, LowRankTerms, Part
from fem.fe.threads.geodesic import GeodesicKinematics
from fem.fe.threads.kinematics import Points, ThreadKinematics
from fem.fe.threads.segments import cut_helices
from fem.fe.wall.cell_forms import DISPLACEMENTS
from fem.quantities.measures import ThreadLinks
from fem.quantities.shape import ThreadCurves, polar_points
from fem.threads.tension import TensionLaw

POINTS = 3
"""Gauss points in a segment."""

PIECES = 2
"""Straight pieces that a segment is drawn in."""


class ImmersedFamily(Part):
    """The threads of one family in a body.

    Parameters
    ----------
    family, face
        The threads, and the face that they run on.
    count
        Number of threads that the family is spread over, if not its own: each is then stiffer or
        softer in proportion.

    Attributes
    ----------
    thread
        Number of the thread in the body of each segment, from 0; shape (segments,).
    z
        Heights of the segments' ends at rest, shape (segments, 2), mm.
    host
        Cell of each segment, shape (segments,).
    cells
        The cells that host any, shape (hosts,), ascending.
    rest
        Length of each segment at rest, shape (segments,), mm.
    sliding
        Whether an element is a whole thread.
    element
        Number of the element that each segment belongs to, shape (segments,).
    """

    def __init__(
        self,
        family: ThreadFamily,
        face: OuterFace,
        count: int | None = None,
    ) -> None:
        self.family = family
        self.count = count or family.count
        self._per_own = self.count / family.count  # tension of one of its own threads
        self._law = TensionLaw(family.stiffness / self._per_own, family.toe)
        self._follow = GeodesicKinematics if family.hold == "geodesic" else ThreadKinematics
        self._place(face)
        self.sliding = family.hold != "bonded"
        self.element = self.thread if self.sliding else np.arange(len(self.thread))
        self._element_rest = np.bincount(self.element, self.rest)
        self._natural = family.natural(self._element_rest)

    def _place(self, face: OuterFace) -> None:
        """Find the segments, their hosts, and the basis functions at their points and ends."""
        self.thread, self.z, theta = cut_helices(self.family.angle, self.count, face)
        self.host, self._back = face.find(theta.mean(axis=1), self.z.mean(axis=1))
        self._order = np.argsort(self.host, kind="stable")
        self.cells, self._starts = np.unique(self.host[self._order], return_index=True)
        self._by_cell = self._segments_by_cell()
        self._nodes = face.body.connectivity[self.host]
        self._at = self._points(theta, face)
        self.rest = self._at.weights.sum(axis=1)
        share = np.linspace(0.0, 1.0, PIECES + 1)
        self._between = np.stack([1 - share, share])  # from the ends of a segment to its stations
        at_stations = theta @ self._between - self._back[:, None]
        self._stations = polar_points(face.radius, at_stations, self.z @ self._between)
        self._at_stations, _ = face.basis(self.host, self._stations)

    def _segments_by_cell(self) -> Index:
        """Return the segments of each cell, one row a cell, padded with the number of segments."""
        counts = np.bincount(np.searchsorted(self.cells, self.host))
        table = np.full((len(self.cells), counts.max()), len(self.host))
        table[np.arange(counts.max()) < counts[:, None]] = self._order
        return table

    def _points(self, ends: Array, face: OuterFace) -> Points:
        """Return the quadrature points; `ends` are the azimuths of the segments' ends (rad)."""
        gauss, weights = np.polynomial.legendre.leggauss(POINTS)
        rise, turn = np.diff(self.z, axis=1), np.diff(ends, axis=1)
        length = np.hypot(rise, face.radius * turn)  # (segments, 1)
        z = self.z[:, :1] + rise * (gauss + 1) / 2
        theta = ends[:, :1] + turn * (gauss + 1) / 2 - self._back[:, None]
        sin, cos = face.radius * turn / length, rise / length
        tangent = np.stack([-sin * np.sin(theta), sin * np.cos(theta), cos + 0 * theta], axis=-1)
        position = polar_points(face.radius, theta, z)
        value, slopes = face.basis(self.host, position)
        derivative = (slopes @ tangent[..., None])[..., 0]
        return Points(self.thread, length * weights / 2, position, tangent, value, derivative)

    def set_prestress_fraction(self, fraction: float) -> None:
        """Apply only this fraction of negative slack."""
        self._natural = self.family.natural(self._element_rest, fraction)

    def kinematics(self, at: Evaluation) -> ThreadKinematics:
        """Return how the threads run in the displaced mesh."""
        return at.once(self._kinematics)

    def _kinematics(self, at: Evaluation) -> ThreadKinematics:
        return self._follow(self._at, at.displacement[self._nodes])

    def strain(self, at: Evaluation) -> Array:
        """Return the strain of each element, shape (elements,)."""
        length = np.bincount(self.element, self.kinematics(at).length)
        return np.asarray(length / self._natural - 1.0)

    def tension(self, at: Evaluation) -> Array:
        """Return the tension of the case's own threads in each segment, shape (segments,), N."""
        tension, _ = self._law.tension(self.strain(at))
        return self._per_own * tension[self.element]

    def links(self, at: Evaluation) -> ThreadLinks:
        """Return the segments for the measures."""
        kinematics = self.kinematics(at)
        x, along = kinematics.position, kinematics.direction
        arm = x[..., 0] * along[..., 1] - x[..., 1] * along[..., 0]
        return ThreadLinks(
            self.family,
            tension=self.tension(at),
            strain=self.strain(at)[self.element],
            rest=self.rest,
            arm=(self._at.weights * arm).sum(axis=1) / self.rest,
            thread=self.thread,
        )

    def curves(self, at: Evaluation) -> ThreadCurves:
        """Return the segments in straight pieces for pictures."""
        rest, now = self.positions(Evaluation(np.zeros_like(at.displacement))), self.positions(at)
        rest, now = (np.stack([x[:, :-1], x[:, 1:]], axis=2).reshape(-1, 2, 3) for x in (rest, now))
        tension = np.repeat(self.tension(at), PIECES)
        return ThreadCurves(self.family.name, rest=rest, ends=now, tension=tension)

    def positions(self, at: Evaluation) -> Array:
        """Return where stations along each segment are now, from end to end, not turned back.

        Shape (segments, PIECES + 1, 3), mm.
        """
        moved = self._stations + self._at_stations @ at.displacement[self._nodes]
        x, y, z = np.moveaxis(moved, -1, 0)
        turn = self._back[:, None] + self.kinematics(at).off_helix @ self._between
        cos, sin = np.cos(turn), np.sin(turn)
        return np.stack([cos * x - sin * y, sin * x + cos * y, z], axis=-1)

    def energy(self, at: Evaluation) -> float:
        """Return the energy stored in the body's threads (N mm)."""
        return float(self._natural @ self._law.energy(self.strain(at)))

    def add_forces(self, forces: Array, at: Evaluation) -> None:
        """Add f of eq. (2)."""
        tension, _ = self._law.tension(self.strain(at))
        by_segment = tension[self.element, None] * self.kinematics(at).gradient()
        by_cell = np.add.reduceat(by_segment[self._order], self._starts)
        forces[self.cells, :DISPLACEMENTS] += by_cell

    def add_stiffness(self, matrices: Array, at: Evaluation) -> None:
        """Add K of eq. (2), without what couples the whole of a sliding thread."""
        kinematics = self.kinematics(at)
        tension, slope = self._law.tension(self.strain(at))
        if not slope.any():  # slack threads resist nothing
            return
        plus = kinematics.geometric_plus(tension[self.element])
        minus = kinematics.geometric_minus(tension[self.element])
        if not self.sliding:
            along = np.sqrt(slope / self._natural)[:, None] * kinematics.gradient()
            plus = np.concatenate([along[:, None, :], plus], axis=1)
        stiffness = self._squared(plus)
        if minus.size:
            stiffness -= self._squared(minus)
        matrices[self.cells, :DISPLACEMENTS, :DISPLACEMENTS] += stiffness

    def low_rank(self, at: Evaluation) -> list[LowRankTerms]:
        """Return the terms of K that couple the whole of a sliding thread, one to a thread."""
        if not self.sliding:
            return []
        kinematics = self.kinematics(at)
        tension, slope = self._law.tension(self.strain(at))
        along = (kinematics.gradient(), slope / self._natural)
        geometric = [(v, tension * k) for v, k in kinematics.geometric_rank_one()]
        return [LowRankTerms(v, self.host, self.element, k) for v, k in (along, *geometric)]

    def _squared(self, rows: Array) -> Array:
        """Return the sums of R'R over the segments of each cell, shape (hosts, 81, 81).

        `rows` is R of each segment, shape (segments, any, 81).
        """
        filled = np.concatenate([rows, np.zeros_like(rows[:1])])[self._by_cell]
        by_cell = filled.reshape(len(self.cells), -1, DISPLACEMENTS)
        return np.matmul(by_cell.swapaxes(1, 2), by_cell)
