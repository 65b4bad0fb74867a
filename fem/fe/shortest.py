r"""Shortest paths of threads on the deformed outer face.

A thread that is free to move sideways without friction lies along the shortest path between its
anchors, a geodesic. A path is a polygon through points x_k = x(theta_k, z_k) of the deformed face
at fixed heights at rest z_k; with the chords' directions t and lengths c, its length has the
derivatives by theta_k

.. math:: x_{\theta,k} \cdot (t_{k-1/2} - t_{k+1/2}), \qquad (1)

.. math:: \frac{x_{\theta,k}^T (I - t t^T) x_{\theta,k}}{c} \text{ of both chords}
          + x_{\theta\theta,k} \cdot (t_{k-1/2} - t_{k+1/2}), \quad
          - \frac{x_{\theta,k}^T (I - t t^T) x_{\theta,k+1}}{c}, \qquad (2)

a tridiagonal matrix, with which Newton's method finds the minimum. The face bends round the axis:
:math:`x_{\theta\theta} = -(x, y, 0)` but for what departs from a body of revolution.

On a body of revolution the result obeys Clairaut's relation: r sin(psi) is constant along it, with
psi the angle to the meridian.

Source: A. C. Clairaut 1733, in any textbook of differential geometry; (1) and (2) derived here.
"""

from __future__ import annotations

import numpy as np

from fem.arrays import Array
from fem.fe.outer import OuterFace

FLAT = 1e-7
"""A path is the shortest where its length changes by less than this share of the radius by rad."""


class DeformedFace:
    """The outer face under nodal displacements, shape (nodes, 3), mm."""

    def __init__(self, face: OuterFace, displacement: Array) -> None:
        self._face, self.radius = face, face.radius
        self._now = face.body.nodes + displacement

    def at(self, theta: Array, z: Array) -> tuple[Array, Array]:
        """Return positions (mm) and their derivatives by theta, shapes (n, 3); inputs (n,)."""
        face = self._face
        host, back = face.find(theta, z)
        value, slopes = face.basis(host, face.at(theta - back, z)[:, None])
        around = face.radius * np.stack(
            [-np.sin(theta - back), np.cos(theta - back), 0 * theta], axis=-1
        )
        now = self._now[face.body.connectivity[host]]
        x = (value @ now)[:, 0]
        slope = (np.einsum("nkj,nj->nk", slopes[:, 0], around)[:, None] @ now)[:, 0]
        return _turned(x, back), _turned(slope, back)


def _turned(vectors: Array, angle: Array) -> Array:
    cos, sin = np.cos(angle), np.sin(angle)
    x, y, z = vectors.T
    return np.column_stack([cos * x - sin * y, sin * x + cos * y, z])


def shortest_path(face: DeformedFace, z: Array, theta: Array) -> Array:
    """Return the azimuths at rest of the shortest path between the ends of a given one.

    Parameters
    ----------
    face
        The deformed face.
    z, theta
        Heights (mm) and azimuths (rad) at rest of the given path, shape (knots,).
    """
    from scipy.optimize import minimize  # slow to import, and only needed here

    polygon = _Polygon(face, z, theta)
    found = minimize(
        polygon.length,
        theta[1:-1],
        jac=polygon.gradient,
        hess=polygon.hessian,
        method="trust-exact",
        options={"gtol": FLAT * face.radius, "initial_trust_radius": 0.1},
    )
    return np.concatenate([theta[:1], found.x, theta[-1:]])


class _Polygon:
    """The length of a polygon on a face by the azimuths of its inner points, eqs. (1) and (2)."""

    def __init__(self, face: DeformedFace, z: Array, theta: Array) -> None:
        self._face, self._z, self._ends = face, z, (theta[0], theta[-1])
        self._inner = np.empty(0)

    def _at(self, inner: Array) -> None:
        if not np.array_equal(inner, self._inner):
            self._inner = np.array(inner)
            theta = np.concatenate([self._ends[:1], inner, self._ends[1:]])
            self._x, slope = self._face.at(theta, self._z)
            chords = np.diff(self._x, axis=0)
            self._chord = np.linalg.norm(chords, axis=1)
            self._along = chords / self._chord[:, None]
            self._slope = slope[1:-1]
            self._turn = self._along[:-1] - self._along[1:]

    def length(self, inner: Array) -> float:
        self._at(inner)
        return float(self._chord.sum())

    def gradient(self, inner: Array) -> Array:
        self._at(inner)
        return np.asarray((self._slope * self._turn).sum(axis=1))

    def hessian(self, inner: Array) -> Array:
        self._at(inner)
        slope, along = self._slope, self._along
        across = (np.eye(3) - along[:, :, None] * along[:, None, :]) / self._chord[:, None, None]
        own = np.einsum("ki,kij,kj->k", slope, across[:-1] + across[1:], slope)
        bent = -(self._x[1:-1, :2] * self._turn[:, :2]).sum(axis=1)
        next_ = -np.einsum("ki,kij,kj->k", slope[:-1], across[1:-1], slope[1:])
        return np.diag(own + bent) + np.diag(next_, 1) + np.diag(next_, -1)
