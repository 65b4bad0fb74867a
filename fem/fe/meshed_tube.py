"""A meshed tube without threads, shared by cases that differ in their threads."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from dolfinx.cpp.io import perm_vtk
from dolfinx.mesh import CellType

from fem.case.tube import Tube
from fem.core.arrays import Array
from fem.fe.mesh.body import NODES, mesh_tube
from fem.fe.mesh.outer_face import OuterFace
from fem.fe.part import Evaluation
from fem.fe.system.assembly import System
from fem.fe.system.motion import Motion
from fem.fe.wall.cell_forms import PRESSURES, UNKNOWNS, BrokenField
from fem.fe.wall.energy import WallStrain, bore_force, enclosed_volume, stored_energy
from fem.fe.wall.nodal_stretch import NodalStretch
from fem.rubber import Rubber
from meshes.tube import Cells


class MeshedTube:
    """The tube of a case, or a sector of it, without threads; several models may share it.

    Parameters
    ----------
    tube, rubber
        The tube and its material.
    cells, sectors
        Cell counts of the body, which is 1/sectors of the tube.

    Attributes
    ----------
    body, motion, face, field
        Mesh, admissible motions, outer face, and the field of the forms.
    wall, bore, bore_force
        Stored energy, enclosed volume, and the nodal forces of unit pressure on the bore.
    strain
        Measures of the strain in the wall.
    system
        Sparse system with its latest factors.
    matrices
        Buffer for the cell matrices of a state, shape (cells, 85, 85); allocating it for each state
        takes longer than filling it.
    size
        Number of entries of the state x = (q, cell pressures).

    Raises
    ------
    ResolutionError
        If the tube is too thin or too short to be meshed.
    """

    def __init__(self, tube: Tube, rubber: Rubber, cells: Cells, sectors: int) -> None:
        self.body = mesh_tube(tube, cells, sectors)
        self.motion = Motion(self.body, tube.outer_radius)
        self.face = OuterFace(self.body, tube.outer_radius)
        self.field = BrokenField(self.body)
        self.wall = stored_energy(self.field, rubber)
        self.bore = enclosed_volume(self.field)
        self.bore_force = bore_force(self.field)
        self.strain = WallStrain(self.field)
        self.system = System(self.motion)
        count = len(self.body.connectivity)
        self.matrices = np.empty((count, UNKNOWNS, UNKNOWNS))
        self.size = self.motion.size + PRESSURES * count
        # the end cut repeats the start cut and would enter a mean twice
        self.outer = np.setdiff1d(self.body.on("outer"), self.body.on("end cut"))
        bore = np.setdiff1d(self.body.on("bore"), self.body.on("end cut"))
        half = tube.length / 2
        self.mid_outer, self.mid_bore = (
            face[np.abs(self.body.nodes[face, 2] - half) < 1e-6 * half]
            for face in (self.outer, bore)
        )
        self.at_base = np.isin(self.body.connectivity, self.body.on("base"))
        self.vtk_order = np.argsort(perm_vtk(CellType.hexahedron, NODES))
        section = np.pi * (tube.outer_radius**2 - tube.bore_radius**2) / sectors
        self.cell_volume = section * tube.length / count
        self._x, self._latest = np.empty(0), Evaluation(np.empty((0, 3)))

    @cached_property
    def nodal_stretch(self) -> NodalStretch:
        """The largest principal stretch at the nodes."""
        return NodalStretch(self.body, self.motion.master)

    def split(self, x: Array) -> tuple[Array, Array]:
        """Return q, shape (motion.size,), and the cell pressures, shape (cells, 4)."""
        return x[: self.motion.size], x[self.motion.size :].reshape(-1, PRESSURES)

    def evaluate(self, x: Array) -> Evaluation:
        """Return the evaluation at x, shape (size,); the latest one if x has the same values."""
        if not np.array_equal(x, self._x):
            self._x = x.copy()
            q, pressures = self.split(x)
            displacement, tangent = self.motion.displacement(q), self.motion.tangent(q)
            self._latest = Evaluation(displacement, pressures, q, tangent)
        return self._latest
