r"""Threads embedded in the wall mesh: a family is a part of the FE model.

A thread has one segment in each cell that it runs through. The lengths of segments are smooth
functions of the displacements of their host cells (:mod:`fem.fe.threads.kinematics`,
:mod:`fem.fe.threads.geodesic`), so another angle needs no other mesh. A thread is a chain of truss
elements. Each has one tension, from its current length and its natural length l0 (1 + s),

.. math:: T = EA\, h\left(\frac{\ell}{(1 + s)\,\ell_0} - 1\right). \qquad (1)

In a bonded thread each segment is an element. A sliding thread, fixed to the plates only, has one
tension: it is a single cable element. With G the derivative of the length, forces and stiffness are

.. math:: f = T G, \qquad
   K = \frac{1}{(1 + s)\,\ell_0} \frac{dT}{de} G^T G + T \frac{d^2\ell}{du^2}. \qquad (2)

The first term couples all cells of an element: one cell if the thread is bonded, those along the
entire thread if it slides; then it is a rank-one term (:mod:`fem.fe.system.low_rank`). Where the
thread is free to move sideways, the second term, the geometric stiffness, has another rank-one term
for the entire thread.

If the law were applied at each point instead, the strain of a stiff thread would oscillate within a
cell, and a tension-only law would rectify it: the mean tension would be 12 % too high.

In a sector, the segments of a thread in other sectors are rotated back into it; its cells then
contain the segments of all threads.

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
from fem.quantities.measures import ThreadSegments
from fem.quantities.shape import ThreadCurves, polar_points
from fem.threads.tension import TensionLaw

POINTS = 3
"""Gauss points in a segment."""

PIECES = 2
"""Straight pieces of a segment in pictures."""


class EmbeddedFamily(Part):
    """The threads of one family in a body.

    Parameters
    ----------
    family, face
        The threads, and the face on which they run.
    count
        Number of threads on the mesh, by default that of the family; another one makes each thread
        stiffer or softer in proportion.

    Attributes
    ----------
    thread
        Number of the thread of each segment in the body, from 0; shape (segments,).
    z
        Heights of the segments' ends at rest, shape (segments, 2), mm.
    host
        Cell of each segment, shape (segments,).
    cells
        The host cells, shape (hosts,), ascending.
    rest
        Length of each segment at rest, shape (segments,), mm.
    sliding
        Whether an element is an entire thread.
    element
        Number of the element of each segment, shape (segments,).
    """

    def __init__(
        self,
        family: ThreadFamily,
        face: OuterFace,
        count: int | None = None,
    ) -> None:
        self.family = family
        self.count = count or family.count
        # from the tension of a thread of the mesh to that of one of the case
        self._tension_factor = self.count / family.count
        self._law = TensionLaw(family.stiffness / self._tension_factor, family.toe)
        geodesic = family.hold == "geodesic"
        self._kinematics_type = GeodesicKinematics if geodesic else ThreadKinematics
        self._locate_segments(face)
        self.sliding = family.hold != "bonded"
        self.element = self.thread if self.sliding else np.arange(len(self.thread))
        self._element_rest = np.bincount(self.element, self.rest)
        self._natural = family.natural(self._element_rest)

    def _locate_segments(self, face: OuterFace) -> None:
        """Find the segments, their host cells, and the basis functions at their points and ends."""
        self.thread, self.z, theta = cut_helices(self.family.angle, self.count, face)
        self.host, self._rotation = face.find(theta.mean(axis=1), self.z.mean(axis=1))
        self._order = np.argsort(self.host, kind="stable")
        self.cells, self._starts = np.unique(self.host[self._order], return_index=True)
        self._by_cell = self._segments_by_cell()
        self._nodes = face.body.connectivity[self.host]
        self._at = self._points(theta, face)
        self.rest = self._at.weights.sum(axis=1)
        fraction = np.linspace(0.0, 1.0, PIECES + 1)  # of the stations along a segment
        self._interpolation = np.stack([1 - fraction, fraction])
        at_stations = theta @ self._interpolation - self._rotation[:, None]
        self._stations = polar_points(face.radius, at_stations, self.z @ self._interpolation)
        self._at_stations, _ = face.basis(self.host, self._stations)

    def _segments_by_cell(self) -> Index:
        """Return the segments of each cell, a row per cell, padded with the number of segments."""
        counts = np.bincount(np.searchsorted(self.cells, self.host))
        table = np.full((len(self.cells), counts.max()), len(self.host))
        table[np.arange(counts.max()) < counts[:, None]] = self._order
        return table

    def _points(self, ends: Array, face: OuterFace) -> Points:
        """Return the quadrature points; `ends` are the azimuths of the segments' ends (rad)."""
        gauss, weights = np.polynomial.legendre.leggauss(POINTS)
        rise, angle = np.diff(self.z, axis=1), np.diff(ends, axis=1)
        length = np.hypot(rise, face.radius * angle)  # (segments, 1)
        z = self.z[:, :1] + rise * (gauss + 1) / 2
        theta = ends[:, :1] + angle * (gauss + 1) / 2 - self._rotation[:, None]
        sin, cos = face.radius * angle / length, rise / length
        tangent = np.stack([-sin * np.sin(theta), sin * np.cos(theta), cos + 0 * theta], axis=-1)
        position = polar_points(face.radius, theta, z)
        value, gradients = face.basis(self.host, position)
        derivative = (gradients @ tangent[..., None])[..., 0]
        return Points(self.thread, length * weights / 2, position, tangent, value, derivative)

    def set_prestress_fraction(self, fraction: float) -> None:
        """Apply only this fraction of negative slack."""
        self._natural = self.family.natural(self._element_rest, fraction)

    def kinematics(self, at: Evaluation) -> ThreadKinematics:
        """Return the kinematics of the threads in the displaced mesh."""
        return at.cached(self._kinematics)

    def _kinematics(self, at: Evaluation) -> ThreadKinematics:
        return self._kinematics_type(self._at, at.displacement[self._nodes])

    def strain(self, at: Evaluation) -> Array:
        """Return the strain of each element, shape (elements,)."""
        length = np.bincount(self.element, self.kinematics(at).length)
        return np.asarray(length / self._natural - 1.0)

    def tension(self, at: Evaluation) -> Array:
        """Return the tension of a thread of the case in each segment, shape (segments,), N."""
        tension, _ = self._law.tension(self.strain(at))
        return self._tension_factor * tension[self.element]

    def segments(self, at: Evaluation) -> ThreadSegments:
        """Return the segments for the measures."""
        kinematics = self.kinematics(at)
        x, along = kinematics.position, kinematics.direction
        arm = x[..., 0] * along[..., 1] - x[..., 1] * along[..., 0]
        return ThreadSegments(
            self.family,
            tension=self.tension(at),
            strain=self.strain(at)[self.element],
            rest=self.rest,
            arm=(self._at.weights * arm).sum(axis=1) / self.rest,
            thread=self.thread,
        )

    def curves(self, at: Evaluation) -> ThreadCurves:
        """Return the segments as straight pieces for pictures."""
        rest, now = self.positions(Evaluation(np.zeros_like(at.displacement))), self.positions(at)
        rest, now = (np.stack([x[:, :-1], x[:, 1:]], axis=2).reshape(-1, 2, 3) for x in (rest, now))
        tension = np.repeat(self.tension(at), PIECES)
        return ThreadCurves(self.family.name, rest=rest, ends=now, tension=tension)

    def positions(self, at: Evaluation) -> Array:
        """Return the current positions of stations along each segment, in its own sector.

        Shape (segments, PIECES + 1, 3), mm.
        """
        moved = self._stations + self._at_stations @ at.displacement[self._nodes]
        x, y, z = np.moveaxis(moved, -1, 0)
        angle = self._rotation[:, None] + self.kinematics(at).off_helix @ self._interpolation
        cos, sin = np.cos(angle), np.sin(angle)
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
        """Add K of eq. (2), without the rank-one terms of sliding threads."""
        kinematics = self.kinematics(at)
        tension, derivative = self._law.tension(self.strain(at))
        if not derivative.any():  # slack threads have no stiffness
            return
        plus = kinematics.geometric_plus(tension[self.element])
        minus = kinematics.geometric_minus(tension[self.element])
        if not self.sliding:
            along = np.sqrt(derivative / self._natural)[:, None] * kinematics.gradient()
            plus = np.concatenate([along[:, None, :], plus], axis=1)
        stiffness = self._gram(plus)
        if minus.size:
            stiffness -= self._gram(minus)
        matrices[self.cells, :DISPLACEMENTS, :DISPLACEMENTS] += stiffness

    def low_rank(self, at: Evaluation) -> list[LowRankTerms]:
        """Return the rank-one terms of K of sliding threads, one for each thread."""
        if not self.sliding:
            return []
        kinematics = self.kinematics(at)
        tension, derivative = self._law.tension(self.strain(at))
        along = (kinematics.gradient(), derivative / self._natural)
        geometric = [(v, tension * k) for v, k in kinematics.geometric_rank_one()]
        return [LowRankTerms(v, self.host, self.element, k) for v, k in (along, *geometric)]

    def _gram(self, rows: Array) -> Array:
        """Return the sums of R'R over the segments of each cell, shape (hosts, 81, 81).

        `rows` holds R of each segment, shape (segments, any, 81).
        """
        padded = np.concatenate([rows, np.zeros_like(rows[:1])])[self._by_cell]
        by_cell = padded.reshape(len(self.cells), -1, DISPLACEMENTS)
        return np.matmul(by_cell.swapaxes(1, 2), by_cell)
