r"""A factorised matrix plus low-rank terms, such as those of sliding threads.

A sliding thread couples all unknowns along it: assembled, its term d u u' would fill the matrix.
Instead, the Woodbury identity is used, with the columns u in U and the factors d > 0 in D,

.. math:: (K + U D U^T)^{-1} r = y - Z\,(D^{-1} + U^T Z)^{-1}\, U^T y, \quad
          Z = K^{-1} U, \; y = K^{-1} r, \qquad (1)

and, from the inertia of the bordered matrix (see :mod:`fem.continuation.newton`),

.. math:: n_-(K + U D U^T) = n_-(K) - n_-(D^{-1} + U^T Z). \qquad (2)

See also eqs. (33) and (34) of docs/theory.md.

Source: M. A. Woodbury's identity and E. V. Haynsworth, Linear Algebra Appl. 1(1), 73 (1968), doi
10.1016/0024-3795(68)90050-5; from memory, re-derived.
"""

from __future__ import annotations

import numpy as np

from fem.continuation.newton import Tangent
from fem.core.arrays import Array


class LowRankUpdate:
    """The factors of K + U D U'.

    Parameters
    ----------
    factors
        Those of K.
    columns, weights
        U, shape (n, m), and the diagonal of D, all positive, shape (m,).

    Attributes
    ----------
    n_negative_eigenvalues
        Number of negative eigenvalues, eq. (2).
    """

    def __init__(self, factors: Tangent, columns: Array, weights: Array) -> None:
        self._factors = factors
        self._columns = columns
        self._solved = np.column_stack([factors.solve(column) for column in columns.T])
        small = np.diag(1 / weights) + columns.T @ self._solved
        if not np.isfinite(small).all():
            raise ArithmeticError("the stiffness is not finite")
        self._small = (small + small.T) / 2
        n_negative = int((np.linalg.eigvalsh(self._small) < 0).sum())
        self.n_negative_eigenvalues = factors.n_negative_eigenvalues - n_negative

    def solve(self, right: Array) -> Array:
        """Return eq. (1)."""
        solved = self._factors.solve(right)
        try:
            tensions = np.linalg.solve(self._small, self._columns.T @ solved)
        except np.linalg.LinAlgError as singular:
            raise ArithmeticError("the stiffness is singular") from singular
        return np.asarray(solved - self._solved @ tensions)
