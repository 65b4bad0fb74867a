"""Potentials on the broken space, in which every cell has its own unknowns.

The unknowns of a cell are its copies of 27 nodal displacements and its 4 pressures, 85 consecutive
entries of one vector. In this space a DOLFINx assembly returns the stacked cell vectors and
matrices. The constraints between cells (shared nodes, symmetry, end plates) are in
:mod:`fem.fe.system.motion`; the pressures are condensed cell by cell
(:mod:`fem.fe.system.assembly`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import basix.ufl
import dolfinx.fem
import numpy as np
import ufl

from fem.core.arrays import Array
from fem.fe.mesh.body import NODES, Body
from fem.fe.part import Evaluation, Part
from fem.fe.wall.compiled import compile_form

PRESSURES = 4
DISPLACEMENTS = 3 * NODES
UNKNOWNS = DISPLACEMENTS + PRESSURES

CHUNK = 16
"""Number of cells whose matrices fit into the processor's cache (found by trial)."""


def cell_chunks(cells: int) -> list[slice]:
    """Return chunks of cells whose matrices are processed together."""
    return [slice(start, start + CHUNK) for start in range(0, cells, CHUNK)]


class BrokenField:
    """Displacement u (mm) and pressure p (MPa) of each cell of a body, discontinuous between cells.

    Attributes
    ----------
    u, p
        UFL expressions for potentials.
    pressure
        The element of p.
    """

    def __init__(self, body: Body) -> None:
        displacement = basix.ufl.element(
            "Lagrange", "hexahedron", 2, shape=(3,), discontinuous=True
        )
        self.pressure = basix.ufl.element("DPC", "hexahedron", 1)
        self.body = body
        self.space = dolfinx.fem.functionspace(
            body.mesh, basix.ufl.mixed_element([displacement, self.pressure])
        )
        self.function = dolfinx.fem.Function(self.space)
        self.u, self.p = ufl.split(self.function)
        self._assigned: Evaluation | None = None

    def assign(self, at: Evaluation) -> None:
        """Copy the state of an evaluation, unless it is the current one."""
        if self._assigned is not at:
            self.set(at.displacement, at.pressures)
            self._assigned = at

    def set(self, displacement: Array, pressure: Array) -> None:
        """Copy nodal displacements, shape (nodes, 3), and pressures, shape (cells, 4)."""
        self._assigned = None
        values = self.function.x.array.reshape(-1, UNKNOWNS)
        cells = self.body.connectivity
        values[:, :DISPLACEMENTS] = displacement[cells].reshape(len(cells), DISPLACEMENTS)
        values[:, DISPLACEMENTS:] = pressure

    def positions(self) -> Array:
        """Return the current positions of the nodes of each cell, shape (cells, 27, 3), mm."""
        cells = self.body.connectivity
        moved = self.function.x.array.reshape(-1, UNKNOWNS)[:, :DISPLACEMENTS]
        return self.body.nodes[cells] + moved.reshape(*cells.shape, 3)


class CellVector:
    """A linear form on the broken space, at the current state of the field."""

    def __init__(self, field: BrokenField, form: ufl.Form) -> None:
        self._form = compile_form(form)
        self._vector = dolfinx.fem.create_vector(field.space)

    def assemble(self) -> Array:
        """Return the cell vectors, shape (cells, 85)."""
        self._vector.array[:] = 0.0
        dolfinx.fem.assemble_vector(self._vector.array, self._form)
        return np.array(self._vector.array).reshape(-1, UNKNOWNS)


class CellHessian(Protocol):
    """A second derivative by the cell unknowns, at the current state of the field."""

    def add_to(self, matrices: Array, factor: float = 1.0) -> None:
        """Add `factor` times the derivative to cell matrices, shape (cells, 85, 85)."""


class CellMatrix:
    """A bilinear form on the broken space, at the current state of the field."""

    def __init__(self, field: BrokenField, form: ufl.Form) -> None:
        self._form = compile_form(form)
        self._matrix = dolfinx.fem.create_matrix(self._form)
        row_lengths = np.diff(self._matrix.indptr)[::UNKNOWNS]
        self._cells = np.flatnonzero(row_lengths)  # a facet integral involves only some cells

    def add_to(self, matrices: Array, factor: float = 1.0) -> None:
        """Add `factor` times the form to cell matrices, shape (cells, 85, 85)."""
        self._matrix.set_value(0.0)
        dolfinx.fem.assemble_matrix(self._matrix, self._form)
        values = self._matrix.data.reshape(-1, UNKNOWNS, UNKNOWNS)
        if factor != 1.0:
            values *= factor
        if len(values) == len(matrices):
            matrices += values  # the same as below, without a copy
        else:
            matrices[self._cells] += values


class Potential:
    """A scalar functional of a broken field, with its first and second derivative.

    Parameters
    ----------
    field
        The field.
    functional
        The UFL form.
    first
        The form of its first derivative, by default from UFL.
    second
        Its second derivative, by default from UFL.
    """

    def __init__(
        self,
        field: BrokenField,
        functional: Any,
        first: Any = None,
        second: CellHessian | None = None,
    ) -> None:
        test, trial = ufl.TestFunction(field.space), ufl.TrialFunction(field.space)
        first = ufl.derivative(functional, field.function, test) if first is None else first
        self.field = field
        self._value = compile_form(functional)
        self._first = CellVector(field, first)
        self.second = second or CellMatrix(field, ufl.derivative(first, field.function, trial))

    def value(self) -> float:
        """Return the functional."""
        return float(np.real(dolfinx.fem.assemble_scalar(self._value)))

    def gradient(self) -> Array:
        """Return the first derivative by the cell unknowns, shape (cells, 85)."""
        return self._first.assemble()

    def hessian(self) -> Array:
        """Return the second derivative, shape (cells, 85, 85)."""
        cells = len(self.field.body.connectivity)
        hessian = np.zeros((cells, UNKNOWNS, UNKNOWNS))
        self.second.add_to(hessian)
        return hessian


@dataclass(frozen=True)
class PotentialPart(Part):
    """A multiple of a potential as a part: the stored energy, or -P V of the pressure P."""

    potential: Potential
    factor: float = 1.0

    def energy(self, at: Evaluation) -> float:
        """Return the multiple (N mm)."""
        self.potential.field.assign(at)
        return self.factor * self.potential.value()

    def add_forces(self, forces: Array, at: Evaluation) -> None:
        """Add the first derivative."""
        self.potential.field.assign(at)
        forces += self.factor * self.potential.gradient()

    def add_stiffness(self, matrices: Array, at: Evaluation) -> None:
        """Add the second derivative."""
        self.potential.field.assign(at)
        self.potential.second.add_to(matrices, self.factor)
