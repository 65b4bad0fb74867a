r"""Kinematics of threads in a deformed wall: the lengths of segments and their derivatives.

A thread at rest is a curve X(s) on the tube with unit tangent a(s). If it stays on its helix, its
stretched tangent at a quadrature point is linear in the displacement,

.. math:: g = F a = a + (\nabla u) a = a + B u, \qquad \lambda = |g|, \qquad \ell = \sum w \lambda,

where B contains the derivatives along a of the basis functions of the host cell. Hence

.. math:: \frac{d\ell}{du} = \sum w\, B^T \hat g, \qquad
   \frac{d^2\ell}{du^2} = \sum w\, B^T P B, \qquad
   P = \frac{I - \hat g \hat g^T}{\lambda}. \qquad (1)

See also eq. (31) of docs/theory.md.

Source: derived here (chain rule).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.core.arrays import Array, Index
from fem.fe.wall.cell_forms import DISPLACEMENTS


@dataclass(frozen=True)
class Points:
    """The quadrature points of segments, at rest.

    Attributes
    ----------
    thread
        Thread of each segment, from 0; shape (segments,).
    weights
        Weights ds, shape (segments, points), mm.
    position, tangent
        X and a, shape (segments, points, 3), mm and 1.
    value, derivative
        N and B of the host cell's basis functions, shape (segments, points, 27), 1 and 1/mm.
    """

    thread: Index
    weights: Array
    position: Array
    tangent: Array
    value: Array
    derivative: Array


class ThreadKinematics:
    """The threads of a family on their helices, in one state.

    Parameters
    ----------
    at
        The quadrature points.
    displacement
        Displacements of the nodes of each host cell, shape (segments, 27, 3), mm.

    Attributes
    ----------
    position
        Current positions of the points, shape (segments, points, 3), mm.
    stretch, direction
        lambda, shape (segments, points), and the unit tangent, (segments, points, 3).
    """

    def __init__(self, at: Points, displacement: Array) -> None:
        self._at = at
        self.position = at.position + at.value @ displacement
        self._set_tangent(at.tangent + at.derivative @ displacement)

    def _set_tangent(self, tangent: Array) -> None:
        """Set stretch and direction from the stretched tangent g."""
        self.stretch = np.linalg.norm(tangent, axis=-1)
        self.direction = tangent / self.stretch[..., None]

    @property
    def length(self) -> Array:
        """Length of each segment, shape (segments,), mm."""
        return np.asarray((self._at.weights * self.stretch).sum(axis=1))

    @property
    def off_helix(self) -> Array:
        """Angle about the axis from the helix to the thread at the ends of the segments.

        Shape (segments, 2), rad.
        """
        return np.zeros((len(self.stretch), 2))

    def gradient(self) -> Array:
        """Return the contribution of each segment to dl/du, eq. (1); shape (segments, 81)."""
        return self._total(self._at.derivative, self.direction)

    def _total(self, basis: Array, vectors: Array) -> Array:
        """Return the sums over points of w N_n v, shape (segments, 81)."""
        weighted = self._at.weights[..., None] * basis
        return (weighted.swapaxes(1, 2) @ vectors).reshape(-1, DISPLACEMENTS)

    def _spread(self, vectors: Array) -> Array:
        """Return B' v for vectors v at the points, shape (segments, points, any, 27, 3)."""
        return self._at.derivative[..., None, :, None] * vectors[..., :, None, :]

    def geometric_plus(self, tension: Array) -> Array:
        """Return R with the sum of R'R = T d2l/du2, eq. (1), in each segment.

        Parameters
        ----------
        tension
            T of each segment, shape (segments,), N.

        Returns
        -------
        Array
            Shape (segments, rows, 81).
        """
        across = np.eye(3) - self.direction[..., :, None] * self.direction[..., None, :]
        across *= np.sqrt(self._at.weights * tension[:, None] / self.stretch)[..., None, None]
        return self._spread(across).reshape(len(tension), -1, DISPLACEMENTS)

    def geometric_minus(self, tension: Array) -> Array:
        """Return S, shape (segments, rows, 81); the sum of S'S is subtracted."""
        return np.empty((len(tension), 0, DISPLACEMENTS))

    def geometric_rank_one(self) -> list[tuple[Array, Array]]:
        """Return the terms k v v' of d2l/du2 that couple all segments of a thread.

        Returns
        -------
        list
            For each term: v, shape (segments, 81), and k, shape (threads,).
        """
        return []
