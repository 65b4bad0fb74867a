r"""Threads that are free to move sideways: the shortest path by Clairaut's relation.

Without friction a thread lies along the shortest path between its anchors, a geodesic of the
deformed face. For each thread the tube is approximated by a body of revolution: where the thread is
rotated about the axis by the angle p(s) from its helix, the surface is that at the helix, rotated
by p, including the groove of the thread. With x and g of :mod:`fem.fe.threads.kinematics`, and J
the rotation by 90 deg about the axis, its tangent and length are then

.. math:: y = g + p' J x, \qquad \ell = \int |y|\,ds, \qquad \int p'\,ds = 0, \qquad (1)

where the last equation holds because the anchors are fixed. The length is a minimum where

.. math:: \hat y \cdot J x = r \sin\psi = c \qquad (2)

everywhere, with psi the angle to the meridian: Clairaut's relation. Its constant c is the only
unknown. With m the part of g in the meridian plane and Phi the winding angle of the thread, the
last equation of (1) reads

.. math:: \int \frac{m \tan\psi}{r}\,ds = \Phi = \int \frac{g \cdot J x}{r^2}\,ds, \qquad
   \tan\psi = \frac{c}{\sqrt{r^2 - c^2}}. \qquad (3)

The force of the thread is applied on the helix, rotated back by p. So nothing moves through the
mesh, and the force is the derivative of the energy. A bent tube is no body of revolution; its
threads are treated as if its axis were straight.

Derivatives. By the envelope theorem the first is that at fixed p'. With
:math:`\delta y = A\,\delta u, A = B + p' J N`, and P of :mod:`fem.fe.threads.kinematics` for y,

.. math::
   \frac{d\ell}{du} &= \int A^T \hat y\,ds, \qquad
   \frac{d^2\ell}{du^2} = \int \Big( A^T P A - \frac{b\,b^T}{a} \Big) ds
      + \frac{v\,v^T}{\int ds / a}, \qquad v = \int \frac{b}{a}\,ds, \qquad (4) \\
   b &= A^T P J x + N^T J^T \hat y, \qquad
   a = J x \cdot P J x = \frac{r^2 \cos^2\psi}{\lambda},

where the second term comes from the change of p' with u at fixed c, and the last, which couples the
entire thread, from the change of c.

See also eqs. (25) and (26) of docs/theory.md.

Source: A. C. Clairaut 1733, in any textbook of differential geometry; (3) and (4) derived here.
"""

from __future__ import annotations

import numpy as np

from fem.core.arrays import Array, Index
from fem.fe.threads.kinematics import ThreadKinematics
from fem.fe.wall.cell_forms import DISPLACEMENTS

WINDING_TOLERANCE = 1e-13
"""Relative error of the winding at which the iteration for c stops.

It is about a hundred times the round-off of the sum over the points of a thread.
"""

MAX_ITERATIONS = 100
"""Most iterations for c; the convergence is monotonic and needs far fewer."""


class GeodesicKinematics(ThreadKinematics):
    """The threads of a family on geodesics, in one state."""

    def _set_tangent(self, tangent: Array) -> None:
        weights, thread = self._at.weights, self._at.thread
        self._sideways = quarter_turn(self.position)  # J x
        radius = np.linalg.norm(self._sideways, axis=-1)
        around = (tangent * self._sideways).sum(axis=-1) / radius
        meridian = np.linalg.norm(tangent - (around / radius)[..., None] * self._sideways, axis=-1)
        winding = np.bincount(thread, (weights * around / radius).sum(axis=1))
        tan = tan_psi(weights, radius, meridian, winding, thread)
        self._rate = (meridian * tan - around) / radius  # p'
        super()._set_tangent(tangent + self._rate[..., None] * self._sideways)
        self._compliance = self.stretch * (1 + tan**2) / radius**2  # 1/a

    @property
    def off_helix(self) -> Array:
        """The angle p at the ends of each segment, shape (segments, 2), rad."""
        change = (self._at.weights * self._rate).sum(axis=1)
        end = np.cumsum(change)  # zero at the end of each thread
        return np.column_stack([end - change, end])

    def gradient(self) -> Array:
        """Return the contribution of each segment to dl/du, eq. (4); shape (segments, 81)."""
        moved = self._rate[..., None] * self._at.value
        return super().gradient() - self._total(moved, quarter_turn(self.direction))

    def _spread(self, vectors: Array) -> Array:
        moved = self._rate[..., None] * self._at.value
        turned = quarter_turn(vectors)[..., :, None, :]
        return super()._spread(vectors) - moved[..., None, :, None] * turned

    def _coupling(self) -> Array:
        """Return b, shape (segments, points, 81)."""
        along = (self._sideways * self.direction).sum(axis=-1)[..., None] * self.direction
        across = (self._sideways - along) / self.stretch[..., None]
        turned = quarter_turn(self.direction)[..., None, :]
        b = self._spread(across[..., None, :])[..., 0, :, :] - self._at.value[..., None] * turned
        return b.reshape(*self.stretch.shape, DISPLACEMENTS)

    def geometric_minus(self, tension: Array) -> Array:
        """Return the second term of d2l/du2 in eq. (4)."""
        factor = np.sqrt(self._at.weights * tension[:, None] * self._compliance)
        return factor[..., None] * self._coupling()

    def geometric_rank_one(self) -> list[tuple[Array, Array]]:
        """Return the last term of eq. (4)."""
        factor = self._at.weights * self._compliance
        v = (factor[:, None, :] @ self._coupling())[:, 0]
        return [(v, 1 / np.bincount(self._at.thread, factor.sum(axis=1)))]


def quarter_turn(vectors: Array) -> Array:
    """Return J v of vectors, shape (..., 3): their part normal to the axis, rotated by 90 deg."""
    x, y, z = np.moveaxis(vectors, -1, 0)
    return np.stack([-y, x, np.zeros_like(z)], axis=-1)


def tan_psi(weights: Array, radius: Array, meridian: Array, winding: Array, thread: Index) -> Array:
    r"""Return tan(psi) of eq. (3) at the quadrature points of threads.

    With the least radius r0 and c = r0 t / sqrt(1 + t^2), t >= 0,

    .. math:: \tan\psi = r_0 t / \sqrt{r^2 + t^2 (r^2 - r_0^2)}

    is a concave function of t at every point, so Newton's method from t = 0 approaches the root
    from below.

    Parameters
    ----------
    weights, radius, meridian
        Weights ds (mm), r (mm) and m at the points, shape (segments, points).
    winding
        Phi of each thread, shape (threads,), rad.
    thread
        Thread of each segment, shape (segments,).

    Returns
    -------
    Array
        Shape (segments, points); nan without convergence.
    """
    least = np.full(len(winding), np.inf)
    np.minimum.at(least, thread, radius.min(axis=1))
    least = least[thread, None]
    per_tan = weights * meridian / radius  # winding of each point divided by tan(psi)
    t = np.zeros(len(winding))
    for _ in range(MAX_ITERATIONS):
        at = t[thread, None]
        root = np.sqrt(radius**2 + at**2 * (radius**2 - least**2))
        tan = least * at / root
        found = np.bincount(thread, (per_tan * tan).sum(axis=1))
        rate = np.bincount(thread, (per_tan * least * radius**2 / root**3).sum(axis=1))
        missing = np.abs(winding) - found
        if not (missing > WINDING_TOLERANCE * np.abs(winding)).any():
            return np.asarray(np.sign(winding)[thread, None] * tan)
        t = t + missing / rate
    return np.full_like(tan, np.nan)
