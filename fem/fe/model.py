"""The finite-element model of a case."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fem.case.case import Case, sectors_of
from fem.continuation.loading import AXIAL, PRESSURE
from fem.continuation.newton import Tangent as Factors
from fem.core.arrays import Array
from fem.core.cache import MeshCache
from fem.fe.mesh.body import NODES, meshed_counts, resolve
from fem.fe.meshed_tube import MeshedTube
from fem.fe.part import Evaluation, Part
from fem.fe.system.assembly import Stiffness, pull_back_matrices
from fem.fe.system.low_rank import LowRankUpdate
from fem.fe.threads.family import EmbeddedFamily
from fem.fe.wall.cell_forms import DISPLACEMENTS, UNKNOWNS, PotentialPart
from fem.quantities.measures import Reactions, ThreadSegments, TubeValues
from fem.quantities.shape import Shape


class FEModel:
    """FE model of a case with x = (q, cell pressures); its energy is that of the full tube.

    Parameters
    ----------
    case
        The case.
    resolution
        See :func:`fem.fe.mesh.body.resolve`.
    full
        Mesh the full tube instead of one sector.
    counts
        Numbers of threads of the families on the mesh, by default those of
        :func:`fem.fe.mesh.body.meshed_counts`.
    mesh_cache
        Keeps the meshed tube for neighbouring cases.
    """

    name = "fe"
    converge_to_roundoff = False

    def __init__(
        self,
        case: Case,
        resolution: str = "standard",
        *,
        full: bool = False,
        counts: Sequence[int] | None = None,
        mesh_cache: MeshCache | None = None,
    ) -> None:
        self.case = case
        counts = counts or meshed_counts(case, resolution, full)
        sectors = 1 if full else sectors_of(counts)
        cells = resolve(case, resolution, sectors, counts)
        law = case.rubber.constitutive_law
        self.tube = (mesh_cache or MeshCache()).get(MeshedTube, case.tube, law, cells, sectors)
        self.body, self.motion = self.tube.body, self.tube.motion
        self.copies = sectors
        self.threads = [
            EmbeddedFamily(family, self.tube.face, count)
            for family, count in zip(case.threads, counts, strict=True)
        ]
        self.parts: list[Part] = [PotentialPart(self.tube.wall), *self.threads]
        self.mesh = {
            "resolution": resolution,
            "sectors_of_the_tube": sectors,
            "cells_through_wall": cells.radial,
            "cells_around_body": cells.around,
            "cells_along_axis": cells.axial,
            "cells": len(self.body.connectivity),
            "nodes": len(self.body.nodes),
            "unknowns": self.motion.size,
            "threads_meshed": {t.family.name: t.count for t in self.threads},
            "thread_elements": {t.family.name: int(t.element.max()) + 1 for t in self.threads},
        }

    def rest(self) -> Array:
        """Return the unloaded state."""
        return np.zeros(self.tube.size)

    def _forces(self, parts: list[Part], at: Evaluation) -> Array:
        """Return the cell vectors of the forces of parts, shape (cells, 85)."""
        forces = np.zeros((len(self.body.connectivity), UNKNOWNS))
        for part in parts:
            part.add_forces(forces, at)
        return forces

    def _assembled(self, forces: Array, at: Evaluation) -> Array:
        """Return the vector of cell vectors, shape (cells, 85), assembled for x."""
        pulled = self.motion.pull_back(at.tangent, forces[:, :DISPLACEMENTS, None])
        return np.append(self.motion.assemble(pulled[..., 0]), forces[:, DISPLACEMENTS:])

    def conjugate_displacements(self, x: Array) -> Array:
        """Return volume (mm3), end displacement (mm) and twist (rad), shape (3,)."""
        at = self.tube.evaluate(x)
        volume = self.copies * PotentialPart(self.tube.bore).energy(at)
        return np.array([volume, self.motion.end_displacement(at.q), self.motion.twist(at.q)])

    def load_vectors(self, x: Array) -> Array:
        """Return the derivatives of the conjugate displacements by x, shape (n, 3)."""
        at = self.tube.evaluate(x)
        forces = self._forces([PotentialPart(self.tube.bore)], at)
        load_vectors = np.zeros((len(x), 3))
        load_vectors[:, PRESSURE] = self.copies * self._assembled(forces, at)
        load_vectors[: len(at.q), AXIAL:] = self.motion.end_load_vectors()
        return load_vectors

    def energy(self, x: Array) -> float:
        """Return the energy stored in the full tube and its threads (N mm)."""
        at = self.tube.evaluate(x)
        return self.copies * sum(part.energy(at) for part in self.parts)

    def internal_force(self, x: Array) -> Array:
        """Return the derivative of the energy by x."""
        at = self.tube.evaluate(x)
        return self.copies * self._assembled(self._forces(self.parts, at), at)

    def tangent(self, x: Array, loads: Array) -> Factors:
        """Return the factorised second derivative of energy - pressure * volume by x."""
        at = self.tube.evaluate(x)
        parts = [*self.parts, PotentialPart(self.tube.bore, -loads[PRESSURE])]
        matrices = self.tube.matrices
        matrices[:] = 0.0
        for part in parts:
            part.add_stiffness(matrices, at)
        pull_back_matrices(self.motion, at.tangent, matrices)
        blocks = matrices[:, :DISPLACEMENTS, :DISPLACEMENTS].reshape(-1, NODES, 3, NODES, 3)
        forces = self._forces(parts, at)[:, :DISPLACEMENTS].reshape(-1, NODES, 3)
        node = np.arange(NODES)
        blocks[:, node, :, node, :] += self.motion.curvature(at.q, forces).swapaxes(0, 1)
        factors = Stiffness(self.tube.system, matrices, self.copies)
        columns, weights = self._low_rank(parts, at)
        return LowRankUpdate(factors, columns, weights) if len(weights) else factors

    def _low_rank(self, parts: list[Part], at: Evaluation) -> tuple[Array, Array]:
        """Return the columns, shape (n, terms), and weights of the low-rank terms of parts."""
        columns, weights = [np.zeros((self.tube.size, 0))], [np.zeros(0)]
        for terms in (terms for part in parts for terms in part.low_rank(at)):
            used = terms.weights > 0  # a slack thread adds nothing
            pulled = self.motion.pull_back(at.tangent, terms.vectors[..., None], terms.cells)
            column = np.zeros((self.tube.size, len(used)))
            column[: self.motion.size] = self.motion.assemble_columns(
                pulled[..., 0], terms.cells, terms.term
            )
            columns.append(self.copies * column[:, used])
            weights.append(terms.weights[used] / self.copies)
        return np.column_stack(columns), np.concatenate(weights)

    def set_prestress_fraction(self, fraction: float) -> None:
        """Apply only this fraction of negative slack."""
        for family in self.threads:
            family.set_prestress_fraction(fraction)

    def wall_stretch(self, x: Array) -> float:
        """Return the largest principal stretch in the wall."""
        self.tube.field.assign(self.tube.evaluate(x))
        return float(self.tube.strain.stretch().max())

    def error(self, residual: Array) -> float:
        """Return the largest dimensionless residual, of forces or of volume strains."""
        forces, strains = self.tube.split(residual)
        force = np.abs(forces).max() / self.case.force_scale
        return float(max(force, np.abs(strains).max() / (self.copies * self.tube.cell_volume)))

    def reactions(self, x: Array, loads: Array) -> Reactions:
        """Return force and torque of the wall and the threads at the base plate.

        These are the nodal forces there, without the pressure on the bore that the mesh lumps into
        the nodes of the base.
        """
        at = self.tube.evaluate(x)
        self.tube.field.assign(at)
        forces = self._forces(self.parts, at) - loads[PRESSURE] * self.tube.bore_force.assemble()
        fx, fy, fz = forces[:, :DISPLACEMENTS].reshape(-1, NODES, 3)[self.tube.at_base].T
        nodes = self.body.nodes[self.body.connectivity[self.tube.at_base]]
        torque = nodes[:, 0] @ fy - nodes[:, 1] @ fx
        area = np.pi * self.case.tube.bore_radius**2
        return Reactions(-self.copies * fz.sum(), -self.copies * torque, area)

    def segments(self, x: Array) -> list[ThreadSegments]:
        """Return the segments of the threads, of the families in the order of the case."""
        at = self.tube.evaluate(x)
        return [threads.segments(at) for threads in self.threads]

    def tube_values(self, x: Array) -> TubeValues:
        """Return the values that the quantities are computed from."""
        tube, at = self.case.tube, self.tube.evaluate(x)
        self.tube.field.assign(at)
        radius, _, _ = self.motion.polar(at.q)
        return TubeValues(
            twist=self.motion.twist(at.q),
            displacement=self.motion.end_displacement(at.q),
            length=tube.length,
            radius=tube.outer_radius,
            growth=radius[self.tube.mid_outer].mean() - tube.outer_radius,
            greatest_growth=radius[self.tube.outer].max() - tube.outer_radius,
            bore_stretch=float(radius[self.tube.mid_bore].mean() / tube.bore_radius),
            wall_stretch=float(self.tube.strain.stretch().max()),
            wall_invariant=float(self.tube.strain.first_invariant().max()),
            locking=self.case.rubber.constitutive_law.locking,
            threads=[segments.values(tube) for segments in self.segments(x)],
        )

    def shape(self, x: Array, pressure: float) -> Shape:
        """Return the shape of the body for pictures and files."""
        at = self.tube.evaluate(x)
        return Shape(
            pressure=pressure,
            sectors=self.body.sectors,
            nodes=self.body.nodes,
            displacement=at.displacement.copy(),
            connectivity=self.body.connectivity[:, self.tube.vtk_order],
            stretch=self.tube.nodal_stretch.at(at.displacement),
            threads=[threads.curves(at) for threads in self.threads],
        )
