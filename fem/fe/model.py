"""The finite-element model of a case."""

from __future__ import annotations

import numpy as np

from fem.case.case import Case
from fem.continuation.loading import AXIAL, PRESSURE
from fem.continuation.newton import Tangent as Factors
from fem.core.arrays import Array
from fem.core.cache import Chain
from fem.fe.mesh.body import NODES, meshed_case, resolve
from fem.fe.meshed_tube import MeshedTube
from fem.fe.system.assembly import Stiffness, pull_hessian
from fem.fe.system.low_rank import LowRankUpdate
from fem.fe.threads.family import ImmersedFamily
from fem.fe.wall.cell_forms import DISPLACEMENTS
from fem.quantities.measures import Reactions, Snapshot
from fem.quantities.shape import Shape


class FEModel:
    """Equilibrium of a meshed case: x = (q, cell pressures), its energy that of the whole tube.

    Parameters
    ----------
    case
        The case.
    resolution
        See :func:`fem.fe.mesh.body.resolve`.
    full
        Mesh the full tube instead of one sector.
    meshed
        The case with its threads as they are meshed, if not that of
        :func:`fem.fe.mesh.body.meshed_case`.
    chain
        Keeps the meshed tube for neighbouring cases.
    """

    name = "fe"
    cheap = False

    def __init__(
        self,
        case: Case,
        resolution: str = "standard",
        *,
        full: bool = False,
        meshed: Case | None = None,
        chain: Chain | None = None,
    ) -> None:
        self.case = case
        meshed = meshed or meshed_case(case, resolution, full)
        sectors = 1 if full else meshed.sectors
        cells = resolve(meshed, resolution, sectors)
        self.tube = (chain or Chain()).share(MeshedTube, case.tube, case.rubber, cells, sectors)
        self.body, self.motion = self.tube.body, self.tube.motion
        self.field, self.strain = self.tube.field, self.tube.strain
        self.wall, self.bore, self.push = self.tube.wall, self.tube.bore, self.tube.push
        self.copies = sectors
        self.threads = [
            ImmersedFamily(family, self.tube.face, own)
            for family, own in zip(meshed.threads, case.threads, strict=True)
        ]
        self.mesh = {
            "resolution": resolution,
            "sectors_of_the_tube": sectors,
            "cells_through_wall": cells.radial,
            "cells_around_body": cells.around,
            "cells_along_axis": cells.axial,
            "cells": len(self.body.connectivity),
            "nodes": len(self.body.nodes),
            "unknowns": self.motion.size,
            "threads_meshed": {family.name: family.count for family in meshed.threads},
            "thread_links": {t.family.name: int(t.link.max()) + 1 for t in self.threads},
        }

    def rest(self) -> Array:
        """Return the state without load."""
        return np.zeros(self.tube.size)

    def _split(self, x: Array) -> tuple[Array, Array]:
        return self.tube.split(x)

    def _set(self, x: Array) -> tuple[Array, Array]:
        """Hand the state to the forms; return q and the nodal displacements."""
        return self.tube.set(x)

    def _cell_gradient(self, displacement: Array, load: float) -> Array:
        """Return the out-of-balance forces by cell, shape (cells, 85)."""
        gradient = self.wall.gradient()
        if load:
            gradient -= load * self.bore.gradient()
        for family in self.threads:
            gradient[family.cells, :DISPLACEMENTS] += family.forces(displacement)
        return gradient

    def _join(self, gradient: Array) -> Array:
        """Return cell vectors, shape (cells, 85), as one vector by the unknowns x."""
        forces = self.motion.pull(self.tube.tangent, gradient[:, :DISPLACEMENTS, None])
        return np.append(self.motion.gather(forces[..., 0]), gradient[:, DISPLACEMENTS:])

    def coordinates(self, x: Array) -> Array:
        """Return volume (mm3), shift (mm) and turn (rad) of the free end, shape (3,)."""
        q, _ = self._set(x)
        volume = self.copies * self.bore.value()
        return np.array([volume, self.motion.shift(q), self.motion.twist(q)])

    def directions(self, x: Array) -> Array:
        """Return the derivatives of the coordinates by x, shape (n, 3)."""
        q, _ = self._set(x)
        directions = np.zeros((len(x), 3))
        directions[:, PRESSURE] = self.copies * self._join(self.bore.gradient())
        directions[: len(q), AXIAL:] = self.motion.end_directions()
        return directions

    def internal(self, x: Array) -> Array:
        """Return the derivative of the energy by x."""
        _, displacement = self._set(x)
        return self.copies * self._join(self._cell_gradient(displacement, 0.0))

    def tangent(self, x: Array, loads: Array) -> Factors:
        """Return the factorised second derivative of energy - pressure * volume."""
        q, displacement = self._set(x)
        pressure = loads[PRESSURE]
        gradient = self._cell_gradient(displacement, pressure)
        hessian = self.tube.hessian
        hessian[:] = 0.0
        self.wall.add_hessian(hessian)
        self.bore.add_hessian(hessian, -pressure)
        for family in self.threads:
            hessian[family.cells, :DISPLACEMENTS, :DISPLACEMENTS] += family.stiffness(displacement)
        pull_hessian(self.motion, self.tube.tangent, hessian)
        blocks = hessian[:, :DISPLACEMENTS, :DISPLACEMENTS].reshape(-1, NODES, 3, NODES, 3)
        forces = gradient[:, :DISPLACEMENTS].reshape(-1, NODES, 3)
        node = np.arange(NODES)
        blocks[:, node, :, node, :] += self.motion.curvature(q, forces).swapaxes(0, 1)
        factors = CondensedTangent(self, Stiffness(self.tube.system, hessian))
        columns, weights = self._rank_one_terms(displacement)
        return LowRankUpdate(factors, columns, weights) if len(weights) else factors

    def _rank_one_terms(self, displacement: Array) -> tuple[Array, Array]:
        """Return columns by x and weights of the terms that taut gliding threads add to K."""
        tangent = self.tube.tangent
        columns, weights = [np.zeros((self.tube.size, 0))], [np.zeros(0)]
        for family in self.threads:
            terms = family.rank_one(displacement) if family.gliding else []
            for gradient, weight in terms:
                taut = weight > 0  # a slack thread adds nothing
                pulled = self.motion.pull(tangent, gradient[..., None], family.host)[..., 0]
                column = np.zeros((self.tube.size, len(weight)))
                column[: self.motion.size] = self.motion.gather_by(pulled, family.host, family.link)
                columns.append(self.copies * column[:, taut])
                weights.append(weight[taut] / self.copies)
        return np.column_stack(columns), np.concatenate(weights)

    def tighten(self, share: float) -> None:
        """Wind in only `share` of what threads are too short by."""
        for family in self.threads:
            family.tighten(share)

    def wall_stretch(self, x: Array) -> float:
        """Return the largest principal stretch in the wall."""
        self._set(x)
        return float(self.strain.stretch().max())

    def error(self, residual: Array) -> float:
        """Return the largest out-of-balance force or volume strain, without dimension."""
        forces, strains = self._split(residual)
        force = np.abs(forces).max() / self.case.force_scale
        return float(max(force, np.abs(strains).max() / (self.copies * self.tube.cell_volume)))

    def energy(self, x: Array) -> float:
        """Return the energy stored in the whole tube and its threads (N mm)."""
        _, displacement = self._set(x)
        stored = self.wall.value() + sum(family.energy(displacement) for family in self.threads)
        return self.body.sectors * stored

    def reactions(self, x: Array, loads: Array) -> Reactions:
        """Return what the wall and the threads carry at the base plate.

        These are the nodal forces there, less the part of the push on the bore that the mesh
        lumps into the base's nodes.
        """
        _, displacement = self._set(x)
        forces = self._cell_gradient(displacement, 0.0) - loads[PRESSURE] * self.push.assemble()
        fx, fy, fz = forces[:, :DISPLACEMENTS].reshape(-1, NODES, 3)[self.tube.at_base].T
        nodes = self.body.nodes[self.body.connectivity[self.tube.at_base]]
        torque = nodes[:, 0] @ fy - nodes[:, 1] @ fx
        area = np.pi * self.case.tube.bore_radius**2
        return Reactions(-self.body.sectors * fz.sum(), -self.body.sectors * torque, area)

    def snapshot(self, x: Array) -> Snapshot:
        """Return what the measures are taken from."""
        q, displacement = self._set(x)
        radius, _, _ = self.motion.polar(q)
        return Snapshot(
            twist=self.motion.twist(q),
            displacement=self.motion.shift(q),
            outer_z=self.body.nodes[self.tube.outer, 2],
            outer_growth=radius[self.tube.outer] - self.case.tube.outer_radius,
            bore_stretch=float(radius[self.tube.mid_bore].mean() / self.case.tube.bore_radius),
            wall_stretch=self.wall_stretch(x),
            wall_invariant=float(self.strain.first_invariant().max()),
            threads=[threads.links(displacement) for threads in self.threads],
        )

    def shape(self, x: Array, pressure: float) -> Shape:
        """Return the shape of the body for pictures and files."""
        _, displacement = self._set(x)
        return Shape(
            pressure=pressure,
            sectors=self.body.sectors,
            nodes=self.body.nodes,
            displacement=displacement,
            connectivity=self.body.connectivity[:, self.tube.vtk_order],
            stretch=self.tube.nodal_stretch.at(displacement),
            threads=[threads.curves(displacement) for threads in self.threads],
        )


class CondensedTangent:
    """A factorised state of the FE model, without terms of low rank."""

    def __init__(self, model: FEModel, stiffness: Stiffness) -> None:
        self._model = model
        self._stiffness = stiffness
        self.negative = stiffness.negative

    def solve(self, right: Array) -> Array:
        """Return the change of x that changes the residual by `right`."""
        forces, strains = self._model._split(right / self._model.copies)
        return np.concatenate([np.ravel(part) for part in self._stiffness.solve(forces, strains)])
