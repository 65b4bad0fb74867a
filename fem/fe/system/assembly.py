r"""From cell matrices to one factorised system in the unknowns q alone.

A cell's linearised equilibrium in its (pulled) displacements d and pressures p,

.. math:: \begin{bmatrix} K & G \\ G^T & -M \end{bmatrix}
          \begin{bmatrix} \delta d \\ \delta p \end{bmatrix} =
          \begin{bmatrix} a \\ b \end{bmatrix},

gives delta p = M^-1 (G' delta d - b) and (K + G M^-1 G') delta d = a + G M^-1 b (static
condensation). The sum over the cells is symmetric, and positive definite exactly where the
equilibrium is stable: by Sylvester's law of inertia its factorisation tells.

See also eqs. (29) and (30) of docs/theory.md.

Source: static condensation and Sylvester's law are textbook matter; e.g. G. Strang,
Linear Algebra and its Applications, ch. 6 (from memory).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from petsc4py import PETSc

from fem.core.arrays import Array
from fem.fe.system.motion import Motion
from fem.fe.wall.cell_forms import DISPLACEMENTS, PRESSURES, UNKNOWNS, groups


class Stiffness:
    """The condensed stiffness of one state, factorised.

    Parameters
    ----------
    system
        The system to be solved.
    pulled
        Cell matrices in the unknowns' directions, shape (cells, 85, 85); worked on in place.
    copies
        The whole is so many times the body, and so is its stiffness.

    Attributes
    ----------
    n_negative_eigenvalues
        Number of negative eigenvalues; 0 means that the equilibrium is stable.
    """

    def __init__(self, system: System, pulled: Array, copies: int = 1) -> None:
        self._system, self._copies = system, copies
        self._coupling = pulled[:, :DISPLACEMENTS, DISPLACEMENTS:].copy()  # G, (cells, 81, 4)
        self._compliance = np.linalg.inv(-pulled[:, DISPLACEMENTS:, DISPLACEMENTS:])  # M^-1
        condensed = pulled[:, :DISPLACEMENTS, :DISPLACEMENTS]
        for some in groups(len(pulled)):
            coupling = self._coupling[some]
            condensed[some] += coupling @ (self._compliance[some] @ coupling.swapaxes(1, 2))
        self._entries = system.entries(pulled)
        self.n_negative_eigenvalues = self._factorise()

    def _factorise(self) -> int:
        self._system.holds = self
        return self._system.factorise(self._entries)

    def solve(self, right: Array) -> Array:
        """Return the change of x = (q, cell pressures) that changes the residual by `right`.

        Both have shape (size + 4 cells,).
        """
        motion, right = self._system.motion, right / self._copies
        if self._system.holds is not self:  # but the factors of another state, or another model
            self._factorise()
        forces, strains = right[: motion.size], right[motion.size :].reshape(-1, PRESSURES)
        carried = (self._coupling @ (self._compliance @ strains[..., None]))[..., 0]
        step = self._system.back_substitute(forces + motion.gather(carried))
        local = np.append(step, 0.0)[motion.cell_unknowns]
        gap = (local[:, None, :] @ self._coupling)[:, 0] - strains
        return np.append(step, self._compliance @ gap[..., None])


class System:
    """The sparsity pattern of a body's motion, found once, and the MUMPS factors on it.

    Attributes
    ----------
    motion
        The motion.
    holds
        Whose factors the latest are.
    """

    def __init__(self, motion: Motion) -> None:
        self.motion = motion
        self.holds: Stiffness | None = None
        unknowns = np.full((len(motion.cell_unknowns), UNKNOWNS), motion.size)
        unknowns[:, :DISPLACEMENTS] = motion.cell_unknowns
        rows = np.repeat(unknowns, UNKNOWNS, axis=1).ravel()
        columns = np.tile(unknowns, (1, UNKNOWNS)).ravel()
        # of a symmetric matrix MUMPS takes the upper triangle alone
        self._upper = np.flatnonzero((rows <= columns) & (columns < motion.size))
        self._matrix = PETSc.Mat().createAIJ(motion.size, comm=PETSc.COMM_SELF)
        self._matrix.setPreallocationCOO(
            *(part[self._upper].astype(PETSc.IntType) for part in (rows, columns))
        )
        self._solver = self._mumps()
        self._solution, self._load = self._matrix.createVecs()

    def _mumps(self) -> Any:
        solver = PETSc.KSP().create(PETSc.COMM_SELF)
        solver.setType(PETSc.KSP.Type.PREONLY)
        solver.setOperators(self._matrix)
        factors = solver.getPC()
        factors.setType(PETSc.PC.Type.CHOLESKY)
        factors.setFactorSolverType(PETSc.Mat.SolverType.MUMPS)
        factors.setFactorSetUpSolverType()
        factors.getFactorMatrix().setMumpsIcntl(24, 1)  # report the inertia
        factors.getFactorMatrix().setMumpsIcntl(8, 0)  # unknowns are all lengths: no scaling
        return solver

    def entries(self, cell_matrices: Array) -> Array:
        """Return the entries of cell matrices, shape (cells, 85, 85), that the pattern sums up.

        What they hold on the cells' pressures is left out, and so is the lower triangle.
        """
        return cell_matrices.ravel()[self._upper]

    def factorise(self, entries: Array) -> int:
        """Factorise the matrix with these entries, return the number of negative pivots.

        Raises
        ------
        ArithmeticError
            If it is singular, or holds something that is not finite.
        """
        if not np.isfinite(entries).all():
            raise ArithmeticError("the stiffness is not finite")
        self._matrix.setValuesCOO(entries)
        self._solver.setOperators(self._matrix)  # else setUp puts the work off to the solution
        self._solver.setUp()
        factors = self._solver.getPC().getFactorMatrix()
        n_negative_eigenvalues, zero, _ = factors.getInertia()
        if zero:
            raise ArithmeticError("the stiffness is singular")
        return int(n_negative_eigenvalues)

    def back_substitute(self, load: Array) -> Array:
        """Solve with the latest factors; `load` and the result have shape (size,)."""
        self._load.array[:] = load
        self._solver.solve(self._load, self._solution)
        return np.array(self._solution.array)


def pull_back_matrices(motion: Motion, tangent: Array, matrices: Array) -> None:
    """Bring cell matrices, shape (cells, 85, 85), into the unknowns' directions: T'KT and T'G."""
    displacements, pressures = slice(DISPLACEMENTS), slice(DISPLACEMENTS, None)
    for some in groups(len(matrices)):
        part = matrices[some]
        rows = motion.pull_back(tangent, part[:, displacements], some)
        turned = np.ascontiguousarray(rows[:, :, displacements].swapaxes(1, 2))
        part[:, displacements, displacements] = motion.pull_back(tangent, turned, some)
        part[:, displacements, pressures] = rows[:, :, pressures]
        part[:, pressures, displacements] = rows[:, :, pressures].swapaxes(1, 2)
