"""The finite-element model of a case."""

from __future__ import annotations

from typing import Any

import numpy as np
from dolfinx.cpp.io import perm_vtk
from dolfinx.mesh import CellType

from fem.arrays import Array
from fem.case import Case
from fem.fe.assembly import Stiffness, System, pull_hessian
from fem.fe.body import mesh_tube
from fem.fe.broken import DISPLACEMENTS, NODES, PRESSURES, BrokenField
from fem.fe.motion import Motion
from fem.fe.threads import ImmersedFamily
from fem.fe.wall import GreatestStretch, bore_push, enclosed_volume, stored_energy
from fem.measure import Reactions, Snapshot, ThreadLinks
from fem.shape import Shape, ThreadCurves


class FEModel:
    """Equilibrium of a meshed case: x = (q, cell pressures), driven by the pressure in the bore.

    Parameters
    ----------
    case
        The case.
    resolution
        See :func:`fem.fe.body.resolve`.
    full
        Mesh the full tube instead of one sector.
    """

    name = "fe"

    def __init__(self, case: Case, resolution: str = "standard", *, full: bool = False) -> None:
        self.case = case
        self.body = mesh_tube(case, resolution, 1 if full else case.sectors)
        self.copies = self.body.sectors
        radius = case.tube.outer_radius
        self.motion = Motion(self.body, radius)
        self.field = BrokenField(self.body)
        self.wall = stored_energy(self.field, case.rubber)
        self.bore = enclosed_volume(self.field)
        self.threads = [ImmersedFamily(family, radius, self.body) for family in case.threads]
        self.system = System(self.motion)
        self.push = bore_push(self.field)
        self.stretch = GreatestStretch(self.field)
        # the end cut repeats the start cut and would count twice in a mean
        self._outer = np.setdiff1d(self.body.on("outer"), self.body.on("end cut"))
        self._at_base = np.isin(self.body.connectivity, self.body.on("base"))
        self._vtk_order = np.argsort(perm_vtk(CellType.hexahedron, NODES))
        self.mesh = {
            "resolution": resolution,
            "sectors_of_the_tube": self.body.sectors,
            "cells_through_wall": self.body.cells.radial,
            "cells_around_body": self.body.cells.around,
            "cells_along_axis": self.body.cells.axial,
            "cells": len(self.body.connectivity),
            "nodes": len(self.body.nodes),
            "unknowns": self.motion.size,
            "thread_links": {t.family.name: len(t.rest) for t in self.threads},
        }
        section = np.pi * (radius**2 - case.tube.bore_radius**2) / self.body.sectors
        self._cell_volume = section * case.tube.length / len(self.body.connectivity)

    def rest(self) -> Array:
        """Return the state without load."""
        return np.zeros(self.motion.size + PRESSURES * len(self.body.connectivity))

    def _split(self, x: Array) -> tuple[Array, Array]:
        return x[: self.motion.size], x[self.motion.size :].reshape(-1, PRESSURES)

    def _set(self, x: Array) -> tuple[Array, Array]:
        """Hand the state to the forms; return q and the nodal displacements."""
        q, pressure = self._split(x)
        displacement = self.motion.displacement(q)
        self.field.set(displacement, pressure)
        return q, displacement

    def _cell_gradient(self, displacement: Array, load: float) -> Array:
        """Return the out-of-balance forces by cell, shape (cells, 85)."""
        gradient = self.wall.gradient() - load * self.bore.gradient()
        for family in self.threads:
            _add(gradient[:, :DISPLACEMENTS], family.host, family.forces(displacement))
        return gradient

    def _join(self, q: Array, gradient: Array) -> Array:
        """Return cell vectors, shape (cells, 85), as one vector by the unknowns x."""
        forces = self.motion.pull(self.motion.tangent(q), gradient[:, :DISPLACEMENTS, None])
        return np.append(self.motion.gather(forces[..., 0]), gradient[:, DISPLACEMENTS:])

    def residual(self, x: Array, load: float) -> Array:
        """Return the derivative of energy - load * volume by x; `load` is the pressure in MPa."""
        q, displacement = self._set(x)
        return self._join(q, self._cell_gradient(displacement, load))

    def load_direction(self, x: Array) -> Array:
        """Return the derivative of the enclosed volume by x."""
        q, _ = self._set(x)
        return self._join(q, self.bore.gradient())

    def tangent(self, x: Array, load: float) -> Tangent:
        """Return the factorised second derivative of energy - load * volume."""
        q, displacement = self._set(x)
        gradient = self._cell_gradient(displacement, load)
        hessian = self.wall.hessian()
        self.bore.add_hessian(hessian, -load)
        for family in self.threads:
            stiffness = family.stiffness(displacement)
            _add(hessian[:, :DISPLACEMENTS, :DISPLACEMENTS], family.host, stiffness)
        pulled = pull_hessian(self.motion, self.motion.tangent(q), hessian)
        blocks = pulled[:, :DISPLACEMENTS, :DISPLACEMENTS].reshape(-1, NODES, 3, NODES, 3)
        forces = gradient[:, :DISPLACEMENTS].reshape(-1, NODES, 3)
        node = np.arange(NODES)
        blocks[:, node, :, node, :] += self.motion.curvature(q, forces).swapaxes(0, 1)
        return Tangent(self, Stiffness(self.system, pulled))

    def error(self, residual: Array) -> float:
        """Return the largest out-of-balance force or volume strain, without dimension."""
        forces, strains = self._split(residual)
        force = np.abs(forces).max() * self.body.sectors / self.case.force_scale
        return float(max(force, np.abs(strains).max() / self._cell_volume))

    def energy(self, x: Array) -> float:
        """Return the energy stored in the whole tube and its threads (N mm)."""
        _, displacement = self._set(x)
        stored = self.wall.value() + sum(family.energy(displacement) for family in self.threads)
        return self.body.sectors * stored

    def reactions(self, x: Array, load: float) -> Reactions:
        """Return what the wall and the threads carry at the base plate.

        These are the nodal forces there, less the part of the push on the bore that the mesh
        lumps into the base's nodes.
        """
        _, displacement = self._set(x)
        forces = self._cell_gradient(displacement, 0.0) - load * self.push.assemble()
        fx, fy, fz = forces[:, :DISPLACEMENTS].reshape(-1, NODES, 3)[self._at_base].T
        nodes = self.body.nodes[self.body.connectivity[self._at_base]]
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
            outer_z=self.body.nodes[self._outer, 2],
            outer_growth=radius[self._outer] - self.case.tube.outer_radius,
            volume=self.body.sectors * self.bore.value(),
            wall_stretch=float(self.stretch.by_cell().max()),
            threads=[
                ThreadLinks(
                    threads.family,
                    tension=threads.family.tension(threads.strain(displacement))[0],
                    rest=threads.rest,
                    thread=threads.passages.thread,
                )
                for threads in self.threads
            ],
        )

    def shape(self, x: Array, load: float) -> Shape:
        """Return the shape of the body for pictures and files."""
        _, displacement = self._set(x)
        rest = np.zeros_like(displacement)
        return Shape(
            pressure=load,
            sectors=self.body.sectors,
            nodes=self.body.nodes,
            displacement=displacement,
            connectivity=self.body.connectivity[:, self._vtk_order],
            stretch=self.stretch.by_cell(),
            threads=[
                ThreadCurves(
                    threads.family.name,
                    rest=threads.positions(rest),
                    ends=threads.positions(displacement),
                    tension=threads.family.tension(threads.strain(displacement))[0],
                )
                for threads in self.threads
            ],
        )


class Tangent:
    """A factorised state of the FE model."""

    def __init__(self, model: FEModel, stiffness: Stiffness) -> None:
        self._model = model
        self._stiffness = stiffness
        self.negative = stiffness.negative

    def solve(self, right: Array) -> Array:
        """Return the change of x that changes the residual by `right`."""
        return np.concatenate(
            [np.ravel(part) for part in self._stiffness.solve(*self._model._split(right))]
        )


def _add(cells: Array, host: Any, links: Array) -> None:
    """Add each link's array to that of its host cell (quicker here than `numpy.add.at`)."""
    for cell, link in zip(host, links, strict=True):
        cells[cell] += link
