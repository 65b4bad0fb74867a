r"""Newton's method for a tube under its loading devices, with a line search.

The unknowns are the state x and the three loads l. The equations are equilibrium r = E' - G l = 0,
where the columns of G, the load vectors, are the derivatives of the conjugate displacements g, and
a constraint f_k(l_k, g_k) = v_k for each pair (:mod:`fem.continuation.loading`). With K = dr/dx a
step solves the bordered system

.. math:: K\,\delta x - G\,\delta l = -r, \qquad
          f_{k,g}\, G_k^T \delta x + f_{k,l}\, \delta l_k = v_k - f_k, \qquad (1)

with one factorisation of K: inserting delta x = K^-1 (-r + G delta l) into the second equation
leaves a system of at most three unknowns. A dead load is known beforehand and needs no column.

Line search. Along delta x, at the new loads, the directional derivative r . delta x vanishes at the
critical point of the potential on that line; a secant search finds a point where it is a tenth of
its initial value. As a condition on the potential and not on |r|, it also suits the saddle point in
displacement and pressure. Forming and factorising K costs as much as 10 to 20 residuals, so K is
used again while the error falls fast.

Stability. Near a state a device is a spring of rate k = f_g / f_l. With C = G'K^-1 G, the inertia
of the bordered matrix gives

.. math:: n_-(K + \sum k\, G_k G_k^T) = n_-(K) - n_-(C + \mathrm{diag}(1/k)), \qquad (2)

over the pairs with k > 0. The equilibrium is stable where this number is 0.

See also eqs. (44) and (47) of docs/theory.md.

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
"""Largest error of an equilibrium (stopping criterion)."""

ROUND_OFF = 1e-14
"""Error of round-off: further iterations do not reduce it."""

MAX_ITERATIONS = 20
"""After this many iterations the method stops once it converges slowly."""

LINE_SEARCH_RATIO = 0.1
"""A line search ends once the directional derivative is at most this fraction of the first one.

A residual costs little compared with a tangent. Where a thread is barely taut, plain Newton steps
approach a double root in its toe region and reduce the error by 4 only; the search goes on to
nearly twice the step.
"""

REUSE_RATIO = 0.05
"""The factors are used again after a step that reduces the error to at most this fraction.

Chosen by trial on the ready case and the hard starts of `validation/`: 0.05 to 0.2 are about
equally good, 0.3 makes some paths slower.
"""


class Tangent(Protocol):
    """The factorised second derivative of a model's potential at one state."""

    @property
    def n_negative_eigenvalues(self) -> int:
        """Number of negative eigenvalues; 0 where the equilibrium is stable."""

    def solve(self, right: Array) -> Array:
        """Return the change of x that changes the residual by `right`."""


class Model(Protocol):
    """A model to solve: x is its state, `loads` are pressure, force and torque.

    Attributes
    ----------
    converge_to_roundoff
        Whether an iteration costs so little that states are solved to round-off.
    """

    converge_to_roundoff: bool

    def rest(self) -> Array:
        """Return the unloaded state."""

    def energy(self, x: Array) -> float:
        """Return the stored energy (N mm)."""

    def internal_force(self, x: Array) -> Array:
        """Return the derivative of the energy by x."""

    def conjugate_displacements(self, x: Array) -> Array:
        """Return volume (mm3), end displacement (mm) and twist (rad), shape (3,)."""

    def load_vectors(self, x: Array) -> Array:
        """Return the derivatives of the conjugate displacements by x, shape (n, 3)."""

    def tangent(self, x: Array, loads: Array) -> Tangent:
        """Return the factorised tangent stiffness; raise ArithmeticError if it has no factors."""

    def error(self, residual: Array) -> float:
        """Return the dimensionless norm of a residual."""

    def set_prestress_fraction(self, fraction: float) -> None:
        """Apply only this fraction of negative slack (threads too short); 1 unless called."""

    def wall_stretch(self, x: Array) -> float:
        """Return the largest principal stretch in the wall."""


class DivergedError(ArithmeticError):
    """Newton's method does not converge."""

    def __init__(self, iterations: int, why: str = "no convergence") -> None:
        super().__init__(f"{why} after {iterations} iterations")
        self.iterations = iterations


@dataclass(frozen=True)
class Trial:
    """A state and loads, with their residual.

    Attributes
    ----------
    x, loads
        State, and pressure, force and torque.
    conjugates, load_vectors
        Volume, end displacement and twist, shape (3,), and their derivatives by x, shape (n, 3).
    residual
        E' - G l.
    error
        Largest dimensionless error of equilibrium and constraints; nan where not finite.
    """

    x: Array
    loads: Array
    conjugates: Array
    load_vectors: Array
    residual: Array
    error: float


def evaluate(model: Model, loading: Loading, x: Array, loads: Array) -> Trial:
    """Return the residual and its error at x under `loads`."""
    conjugates, load_vectors = model.conjugate_displacements(x), model.load_vectors(x)
    residual = model.internal_force(x) - load_vectors @ loads
    error = max(model.error(residual), loading.error(loads, conjugates))
    # max() may drop a nan
    finite = np.isfinite(residual).all() and np.isfinite(conjugates).all()
    return Trial(x, loads, conjugates, load_vectors, residual, error if finite else np.nan)


class BorderedSystem:
    """Eq. (1) at a trial, solved with the factors of K."""

    def __init__(self, model: Model, loading: Loading, trial: Trial) -> None:
        self._factors = model.tangent(trial.x, trial.loads)
        self._load_vectors = trial.load_vectors
        self._f_l, self._f_g = loading.derivatives(trial.loads, trial.conjugates)
        self._coupled = self._f_g != 0.0  # all but dead loads
        self._columns = {k: self._column(k) for k in np.flatnonzero(self._coupled).tolist()}

    def _column(self, pair: int) -> Array:
        return self._factors.solve(self._load_vectors[:, pair])

    def solve(self, right: Array, right_constraints: Array) -> tuple[Array, Array]:
        """Return (delta x, delta l) of eq. (1) for right-hand sides of shapes (n,) and (3,).

        Raises
        ------
        ArithmeticError
            If the bordered system is singular.
        """
        coupled = self._coupled
        change = np.where(coupled, 0.0, right_constraints / np.where(coupled, 1.0, self._f_l))
        step = self._factors.solve(right + self._load_vectors @ change)
        if self._columns:
            columns = np.column_stack(list(self._columns.values()))
            rows = self._f_g[coupled, None] * self._load_vectors[:, coupled].T
            schur = rows @ columns + np.diag(self._f_l[coupled])
            try:
                change[coupled] = np.linalg.solve(schur, right_constraints[coupled] - rows @ step)
            except np.linalg.LinAlgError as singular:
                raise ArithmeticError("the bordered system is singular") from singular
            step = step + columns @ change[coupled]
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


@np.errstate(all="ignore")  # a trial state may be inadmissible: its residual is nan
def solve_equilibrium(model: Model, loading: Loading, x: Array, loads: Array) -> tuple[Trial, int]:
    """Return the equilibrium that Newton's method finds from `x` and `loads`, and its iterations.

    Raises
    ------
    DivergedError
        If there is no convergence.
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
    """Return an equilibrium after one more iteration, if that reduces the error."""
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
    model: Model,
    loading: Loading,
    trial: Trial,
    direction: Array,
    change: Array,
    max_trials: int = 6,
) -> Trial:
    """Return the trial at x + s d where r . d is small compared with its value at x.

    Without such a point among `max_trials` trials, the last of them is returned.
    """
    loads = trial.loads + change
    start = float((trial.residual - trial.load_vectors @ change) @ direction)
    s_before, rate_before, s = 0.0, start, 1.0
    for _ in range(max_trials):
        found = evaluate(model, loading, trial.x + s * direction, loads)
        rate = float(found.residual @ direction)
        if abs(rate) <= LINE_SEARCH_RATIO * abs(start):
            break
        secant = s - rate * (s - s_before) / (rate - rate_before) if rate != rate_before else np.nan
        s_before, rate_before = s, rate
        s = float(np.clip(secant, 0.1 * s, 4.0 * s)) if np.isfinite(secant) else 0.25 * s
    return found
