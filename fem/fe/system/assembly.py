r"""From cell matrices to one factorised system in the unknowns q.

The linearised equilibrium of a cell in its displacements d, pulled back to q, and pressures p,

.. math:: \begin{bmatrix} K & G \\ G^T & -M \end{bmatrix}
          \begin{bmatrix} \delta d \\ \delta p \end{bmatrix} =
          \begin{bmatrix} a \\ b \end{bmatrix},

gives delta p = M^-1 (G' delta d - b) and (K + G M^-1 G') delta d = a + G M^-1 b (static
condensation). The sum over the cells is symmetric, and positive definite exactly where the
equilibrium is stable: the inertia of its factorisation shows this (Sylvester's law of inertia).

See also eqs. (29) and (30) of docs/theory.md.

Source: static condensation and Sylvester's law are in textbooks; e.g. G. Strang,
Linear Algebra and its Applications, ch. 6 (from memory).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from petsc4py import PETSc

from fem.core.arrays import Array
from fem.fe.system.motion import Motion
from fem.fe.wall.cell_forms import DISPLACEMENTS, PRESSURES, UNKNOWNS, cell_chunks


class Stiffness:
    """The condensed stiffness of one state, factorised.

    Parameters
    ----------
    system
        The sparse system.
    matrices
        Cell matrices pulled back to q, shape (cells, 85, 85); changed in place.
    copies
        The stiffness is this multiple of that of the body.

    Attributes
    ----------
    n_negative_eigenvalues
        Number of negative eigenvalues; 0 means that the equilibrium is stable.
    """

    def __init__(self, system: System, matrices: Array, copies: int = 1) -> None:
        self._system, self._copies = system, copies
        self._coupling = matrices[:, :DISPLACEMENTS, DISPLACEMENTS:].copy()  # G, (cells, 81, 4)
        self._compliance = np.linalg.inv(-matrices[:, DISPLACEMENTS:, DISPLACEMENTS:])  # M^-1
        condensed = matrices[:, :DISPLACEMENTS, :DISPLACEMENTS]
        for chunk in cell_chunks(len(matrices)):
            coupling = self._coupling[chunk]
            condensed[chunk] += coupling @ (self._compliance[chunk] @ coupling.swapaxes(1, 2))
        self._entries = system.entries(matrices)
        self.n_negative_eigenvalues = self._factorise()

    def _factorise(self) -> int:
        self._system.factorised = self
        return self._system.factorise(self._entries)

    def solve(self, right: Array) -> Array:
        """Return the change of x = (q, cell pressures) that changes the residual by `right`.

        Both have shape (size + 4 cells,).
        """
        motion, right = self._system.motion, right / self._copies
        if self._system.factorised is not self:  # the factors are of another state or model
            self._factorise()
        forces, strains = right[: motion.size], right[motion.size :].reshape(-1, PRESSURES)
        condensed_load = (self._coupling @ (self._compliance @ strains[..., None]))[..., 0]
        step = self._system.back_substitute(forces + motion.assemble(condensed_load))
        local = np.append(step, 0.0)[motion.cell_unknowns]
        gap = (local[:, None, :] @ self._coupling)[:, 0] - strains
        return np.append(step, self._compliance @ gap[..., None])


class System:
    """The sparsity pattern of a body's motion, and the latest MUMPS factors.

    Attributes
    ----------
    motion
        The motion.
    factorised
        The stiffness of the latest factors.
    """

    def __init__(self, motion: Motion) -> None:
        self.motion = motion
        self.factorised: Stiffness | None = None
        unknowns = np.full((len(motion.cell_unknowns), UNKNOWNS), motion.size)
        unknowns[:, :DISPLACEMENTS] = motion.cell_unknowns
        rows = np.repeat(unknowns, UNKNOWNS, axis=1).ravel()
        columns = np.tile(unknowns, (1, UNKNOWNS)).ravel()
        # MUMPS reads only the upper triangle of a symmetric matrix
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
        """Return the entries of cell matrices, shape (cells, 85, 85), in the order of the pattern.

        Those of the pressures and of the lower triangle are left out.
        """
        return cell_matrices.ravel()[self._upper]

    def factorise(self, entries: Array) -> int:
        """Factorise the matrix with these entries, return the number of negative pivots.

        Raises
        ------
        ArithmeticError
            If it is singular or not finite.
        """
        if not np.isfinite(entries).all():
            raise ArithmeticError("the stiffness is not finite")
        self._matrix.setValuesCOO(entries)
        self._solver.setOperators(self._matrix)  # otherwise setUp does not factorise
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
    """Pull cell matrices, shape (cells, 85, 85), back to the unknowns in place: T'KT and T'G."""
    displacements, pressures = slice(DISPLACEMENTS), slice(DISPLACEMENTS, None)
    for chunk in cell_chunks(len(matrices)):
        part = matrices[chunk]
        rows = motion.pull_back(tangent, part[:, displacements], chunk)
        columns = np.ascontiguousarray(rows[:, :, displacements].swapaxes(1, 2))
        part[:, displacements, displacements] = motion.pull_back(tangent, columns, chunk)
        part[:, displacements, pressures] = rows[:, :, pressures]
        part[:, pressures, displacements] = rows[:, :, pressures].swapaxes(1, 2)
