r"""Newton's method for a tube under its loading devices, with a line search.

Unknowns are the state x and the three loads l; equations are equilibrium r = E' - G l = 0, with the
columns of G the derivatives of the coordinates g, and a relation f_k(l_k, g_k) = v_k to each pair
(:mod:`fem.continuation.loading`). With K = dr/dx a step solves the bordered system

.. math:: K\,\delta x - G\,\delta l = -r, \qquad
          f_{k,g}\, G_k^T \delta x + f_{k,l}\, \delta l_k = v_k - f_k, \qquad (1)

by one factorisation of K: delta x = K^-1 (-r + G delta l) put into the second leaves a system of at
most three unknowns. A dead load is known beforehand and needs no column.

Line search. Along delta x, at the new loads, the work rate r . delta x vanishes at the critical
point of the potential on that line; a secant search looks for a point where it is a tenth of that
at the start. Being a condition on the potential and not on |r|, it holds for the saddle of
displacement and pressure too. Forming and factorising K costs 10 to 20 residuals, so K is kept
while it serves well.

Stability. A device is near a state a spring of rate k = f_g / f_l, and with C = G'K^-1 G, by
the inertia of the bordered matrix,

.. math:: n_-(K + \sum k\, G_k G_k^T) = n_-(K) - n_-(C + \mathrm{diag}(1/k)), \qquad (2)

over the pairs with k > 0. The equilibrium is stable where that is 0.

Source: critical-point line search: P. R. Brune et al., SIAM Review 57(4), 535 (2015), doi
10.1137/130936725; (2): E. V. Haynsworth, Linear Algebra Appl. 1(1), 73 (1968), doi
10.1016/0024-3795(68)90050-5 (inertia of a partitioned matrix); from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from fem.continuation.loading import Loading
from fem.core.arrays import Array

TOLERANCE = 1e-8
"""Stopping rule: the largest error that counts as equilibrium."""

ROUND_OFF = 1e-14
"""An error that no further iteration makes smaller."""

MAX_ITERATIONS = 20
"""A search for equilibrium that takes longer is given up once it is slow."""

LINE_SEARCH_RATIO = 0.1
"""A line search ends where the work rate is at most this share of that at its start.

A residual is cheap beside a tangent. Where a thread is barely taut the error of plain Newton steps,
which meet a double root in its toe, only falls by 4; the search goes on to nearly twice the step.
"""

REUSE_RATIO = 0.05
"""A step that leaves at most this share of the error is followed by one with the same factors.

Chosen by trial on the ready case and the hard starts of `validation/`: 0.05 to 0.2 serve about
equally, 0.3 makes some paths slower.
"""


class Tangent(Protocol):
    """The factorised second derivative of a model's potential at one state."""

    @property
    def n_negative_eigenvalues(self) -> int:
        """Number of negative eigenvalues; 0 where the equilibrium is stable."""

    def solve(self, right: Array) -> Array:
        """Return the change of x that changes the residual by `right`."""


class Model(Protocol):
    """What is brought into equilibrium; x is its state, `loads` are pressure, force and torque.

    Attributes
    ----------
    converge_to_roundoff
        Whether an iteration costs so little that states are found to round-off.
    """

    converge_to_roundoff: bool

    def rest(self) -> Array:
        """Return the state without load."""

    def energy(self, x: Array) -> float:
        """Return the stored energy (N mm)."""

    def internal_force(self, x: Array) -> Array:
        """Return the derivative of the energy by x."""

    def conjugate_displacements(self, x: Array) -> Array:
        """Return volume (mm3), end displacement (mm) and twist (rad), shape (3,)."""

    def load_vectors(self, x: Array) -> Array:
        """Return the derivatives of the conjugate displacements by x, shape (n, 3)."""

    def tangent(self, x: Array, loads: Array) -> Tangent:
        """Return the second derivative; raise ArithmeticError where it cannot be factorised."""

    def error(self, residual: Array) -> float:
        """Return the size of a residual, without dimension."""

    def set_prestress_fraction(self, share: float) -> None:
        """Wind in only `share` of what threads are too short by; all of it unless called."""

    def wall_stretch(self, x: Array) -> float:
        """Return the largest principal stretch in the wall."""


class DivergedError(ArithmeticError):
    """Newton's method does not converge."""

    def __init__(self, iterations: int, why: str = "no convergence") -> None:
        super().__init__(f"{why} after {iterations} iterations")
        self.iterations = iterations


@dataclass(frozen=True)
class Trial:
    """A state and loads, and how far they are from equilibrium.

    Attributes
    ----------
    x, loads
        State, and pressure, force and torque.
    conjugates, load_vectors
        Volume, end displacement and twist, shape (3,), and their derivatives by x, shape (n, 3).
    residual
        E' - G l.
    error
        Largest error of equilibrium and devices.
    """

    x: Array
    loads: Array
    conjugates: Array
    load_vectors: Array
    residual: Array
    error: float


def evaluate(model: Model, loading: Loading, x: Array, loads: Array) -> Trial:
    """Return the trial at x under `loads`."""
    conjugates, load_vectors = model.conjugate_displacements(x), model.load_vectors(x)
    residual = model.internal_force(x) - load_vectors @ loads
    error = max(model.error(residual), loading.error(loads, conjugates))
    # max() lets a nan slip
    finite = np.isfinite(residual).all() and np.isfinite(conjugates).all()
    return Trial(x, loads, conjugates, load_vectors, residual, error if finite else np.nan)


class BorderedSystem:
    """The factors of K at a trial, and eq. (1) solved by them."""

    def __init__(self, model: Model, loading: Loading, trial: Trial) -> None:
        self._factors = model.tangent(trial.x, trial.loads)
        self._load_vectors = trial.load_vectors
        self._f_l, self._f_g = loading.derivatives(trial.loads, trial.conjugates)
        self._compliant = self._f_g != 0.0
        self._columns = {k: self._column(k) for k in np.flatnonzero(self._compliant).tolist()}

    def _column(self, pair: int) -> Array:
        return self._factors.solve(self._load_vectors[:, pair])

    def solve(self, right: Array, closing: Array) -> tuple[Array, Array]:
        """Return (delta x, delta l) of eq. (1) for other right-hand sides, shapes (n,) and (3,).

        Raises
        ------
        ArithmeticError
            If the bordered system is singular.
        """
        change = np.where(self._compliant, 0.0, closing / np.where(self._compliant, 1.0, self._f_l))
        step = self._factors.solve(right + self._load_vectors @ change)
        if self._columns:
            columns = np.column_stack(list(self._columns.values()))
            across = self._f_g[self._compliant, None] * self._load_vectors[:, self._compliant].T
            reaction = across @ columns + np.diag(self._f_l[self._compliant])
            try:
                change[self._compliant] = np.linalg.solve(
                    reaction, closing[self._compliant] - across @ step
                )
            except np.linalg.LinAlgError as singular:
                raise ArithmeticError("the loading leaves the tube loose") from singular
            step = step + columns @ change[self._compliant]
        return step, change

    def n_negative_eigenvalues(self, loading: Loading, trial: Trial) -> int:
        """Return eq. (2) for the devices of `loading`."""
        f_l, f_g = loading.derivatives(trial.loads, trial.conjugates)
        pairs = np.flatnonzero(f_g).tolist()
        if not pairs:
            return self._factors.n_negative_eigenvalues
        for pair in pairs:
            if pair not in self._columns:
                self._columns[pair] = self._column(pair)
        columns = np.column_stack([self._columns[pair] for pair in pairs])
        compliance = self._load_vectors[:, pairs].T @ columns
        compliance += np.diag(f_l[pairs] / f_g[pairs])
        if not np.isfinite(compliance).all():
            raise ArithmeticError("the compliance is not finite")
        symmetric = (compliance + compliance.T) / 2
        return self._factors.n_negative_eigenvalues - int((np.linalg.eigvalsh(symmetric) < 0).sum())


@np.errstate(all="ignore")  # a trial state may be impossible: that shows as nan and is handled
def solve_equilibrium(model: Model, loading: Loading, x: Array, loads: Array) -> tuple[Trial, int]:
    """Return the equilibrium that Newton's method finds from `x` and `loads`, and its iterations.

    Raises
    ------
    DivergedError
        If it finds none.
    """
    trial, before = evaluate(model, loading, x, loads), np.inf
    system = None
    for iteration in range(3 * MAX_ITERATIONS + 1):
        if trial.error <= TOLERANCE:
            if model.converge_to_roundoff:
                trial = _refined(model, loading, trial)
            return trial, iteration
        slow = iteration >= MAX_ITERATIONS and trial.error > before / 2
        if slow or not np.isfinite(trial.error):
            break
        try:
            if system is None or trial.error > REUSE_RATIO * before:
                system = BorderedSystem(model, loading, trial)
            residuals = loading.residuals(trial.loads, trial.conjugates)
            direction, change = system.solve(-trial.residual, -residuals)
        except ArithmeticError as failure:
            raise DivergedError(iteration, str(failure)) from failure
        before = trial.error
        trial = _line_search(model, loading, trial, direction, change)
    raise DivergedError(iteration)


def _refined(model: Model, loading: Loading, trial: Trial) -> Trial:
    """Return an equilibrium after one more iteration, if that is nearer."""
    if trial.error <= ROUND_OFF:
        return trial
    try:
        residuals = loading.residuals(trial.loads, trial.conjugates)
        step, change = BorderedSystem(model, loading, trial).solve(-trial.residual, -residuals)
    except ArithmeticError:
        return trial
    found = evaluate(model, loading, trial.x + step, trial.loads + change)
    return found if found.error < trial.error else trial


def _line_search(
    model: Model, loading: Loading, trial: Trial, direction: Array, change: Array, most: int = 6
) -> Trial:
    """Return the trial at x + s d where the work rate is small against that at x.

    Where `most` trials do not find such a point, the last of them is returned.
    """
    loads = trial.loads + change
    start = float((trial.residual - trial.load_vectors @ change) @ direction)
    s_before, rate_before, s = 0.0, start, 1.0
    for _ in range(most):
        found = evaluate(model, loading, trial.x + s * direction, loads)
        rate = float(found.residual @ direction)
        if abs(rate) <= LINE_SEARCH_RATIO * abs(start):
            break
        secant = s - rate * (s - s_before) / (rate - rate_before) if rate != rate_before else np.nan
        s_before, rate_before = s, rate
        s = float(np.clip(secant, 0.1 * s, 4.0 * s)) if np.isfinite(secant) else 0.25 * s
    return found
