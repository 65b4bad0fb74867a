"""The meshed body: a case's tube, or one of its equal sectors, as a DOLFINx mesh."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import basix.ufl
import dolfinx.fem
import dolfinx.io.gmsh
import gmsh
import numpy as np
from mpi4py import MPI

from fem.case.case import Case, sectors_of
from fem.case.tube import Tube
from fem.core.arrays import Array, Index
from fem.core.atomic_write import in_place_of, write_bytes
from fem.core.errors import InputError
from fem.fe.mesh.regroup import regroup
from meshes.tube import GROUPS, Cells, TubeShape, tube

RESOLUTIONS = {"coarse": Cells(1, 1, 20), "standard": Cells(1, 3, 40), "fine": Cells(2, 4, 80)}
"""Cells through the wall, around one thread spacing, and along the reference tube (see below)."""

SLENDERNESS = 60 / 5.75
"""Length over mean radius of the reference tube of `RESOLUTIONS`."""

MIN_SPACINGS = 12
"""A tube with fewer threads is meshed as with this number: a cell spans 30 deg at most.

The coarse mesh has this number for every tube: a cell may host several threads. By trial on the
ready case and 13 random ones, twice as many cells around it change twist and displacement by
0.5 % at most, and not towards those of finer meshes.
"""

MIN_WALL_RATIO = 1e-3
"""Smallest wall or length divided by the outer radius: by trial 1.1e-3 converges, 2e-4 does not."""

NODES = 27
"""Nodes of a cell."""

MIN_CELLS_AROUND = 3
"""With fewer cells around the full tube, one would span 180 deg or more."""

MESH_FORMATS = (".msh", ".vtu", ".vtk")
"""Endings of mesh files."""


class ResolutionError(InputError):
    """A mesh that is not possible: an unknown resolution, or a tube too thin to be meshed."""


def resolve(
    case: Case, resolution: str, sectors: int, counts: Sequence[int] | None = None
) -> Cells:
    """Return the cell counts of one of `sectors` equal parts of the tube.

    Parameters
    ----------
    case
        The tube and its threads.
    resolution
        A name in `RESOLUTIONS`, scaled with the slenderness of the tube and the spacing of the
        threads, or counts as in ``"1x2x20"`` (through the wall, around one equal sector, along the
        axis).
    sectors
        The body is 1/sectors of the tube; a divisor of its number of equal sectors.
    counts
        Numbers of threads of the families on the mesh, by default those of the case.

    Raises
    ------
    ResolutionError
        If `resolution` is neither.
    """
    counts = case.counts if counts is None else counts
    equal = sectors_of(counts)
    merged = equal // sectors
    if given := re.fullmatch(r"([1-9]\d{0,3})x([1-9]\d{0,3})x([1-9]\d{0,3})", resolution):
        radial, around, axial = (int(number) for number in given.groups())
        if around * equal < MIN_CELLS_AROUND:
            raise ResolutionError(
                f'resolution "{resolution}": {around * equal} cells around the tube; '
                f"at least {MIN_CELLS_AROUND} are needed"
            )
        return Cells(radial, around * merged, axial)
    if resolution not in RESOLUTIONS:
        raise ResolutionError(
            f'resolution "{resolution}": unknown; allowed: {", ".join(RESOLUTIONS)}, or cell '
            "counts (1 to 9999) through the wall x around a sector x along the axis, "
            'such as "1x2x20"'
        )
    base = RESOLUTIONS[resolution]
    threads = () if resolution == "coarse" else counts
    spacings = max([MIN_SPACINGS, *threads])
    around = math.ceil(base.around * spacings / equal)
    mean_radius = case.tube.bore_radius + case.tube.wall / 2
    axial = math.ceil(base.axial * case.tube.length / mean_radius / SLENDERNESS - 1e-9)
    return Cells(base.radial, around * merged, max(2, axial))


def meshed_counts(case: Case, resolution: str, full: bool = False) -> Sequence[int]:
    """Return the numbers of threads on the mesh: regrouped on a sector of the coarse mesh."""
    return regroup(case.counts) if resolution == "coarse" and not full else case.counts


def coarser(case: Case, resolution: str, counts: Sequence[int] | None = None) -> str:
    """Return the cell counts of a mesh with twice the cell size; parameters as in :func:`resolve`.

    Raises
    ------
    ResolutionError
        If `resolution` is not known, or its cells cannot be any larger.
    """
    equal = sectors_of(case.counts if counts is None else counts)
    cells = resolve(case, resolution, equal, counts)
    halved = Cells(*(math.ceil(count / 2) for count in (cells.radial, cells.around, cells.axial)))
    if halved == cells or halved.around * equal < MIN_CELLS_AROUND:
        raise ResolutionError(
            f'resolution "{resolution}": there is no coarser mesh to compare it with'
        )
    return f"{halved.radial}x{halved.around}x{halved.axial}"


@dataclass(frozen=True)
class Body:
    """A meshed sector of a tube (sectors = 1: the full tube) with its quadratic nodes.

    Attributes
    ----------
    mesh, facets
        DOLFINx mesh of second-order hexahedra, and the tags `GROUPS` of its faces.
    space
        Scalar function space of the quadratic nodes.
    cells
        Cell counts.
    sectors
        The body is 1/sectors of the tube.
    nodes
        Positions of the quadratic nodes at rest, shape (nodes, 3), mm.
    connectivity
        Nodes of each cell in DOLFINx order, shape (cells, 27).
    """

    mesh: Any
    facets: Any
    space: Any
    cells: Cells
    sectors: int
    nodes: Array
    connectivity: Index

    def on(self, name: str) -> Index:
        """Return the nodes on the face `name` of `GROUPS`."""
        return dolfinx.fem.locate_dofs_topological(self.space, 2, self.facets.find(GROUPS[name]))


def mesh_tube(size: Tube, cells: Cells, sectors: int) -> Body:
    """Mesh one of `sectors` equal parts of a tube with the counts of :func:`resolve`.

    Raises
    ------
    ResolutionError
        If the tube is too thin or too short to be meshed.
    """
    with tube(_shape(size, sectors), cells) as model:
        data = dolfinx.io.gmsh.model_to_mesh(model, MPI.COMM_SELF, 0, gdim=3)
    space = dolfinx.fem.functionspace(data.mesh, ("Lagrange", 2))
    return Body(
        mesh=data.mesh,
        facets=data.facet_tags,
        space=space,
        cells=cells,
        sectors=sectors,
        nodes=space.tabulate_dof_coordinates(),
        connectivity=np.asarray(space.dofmap.list),
    )


def hexahedron() -> Any:
    """Return the basix element of the displacement, Q2 on a hexahedron (scalar, 27 nodes)."""
    return basix.ufl.element("Lagrange", "hexahedron", 2)


def write_mesh(case: Case, resolution: str, full: bool, file: Path) -> Cells:
    """Write the mesh of a sector of a tube, or of the full tube, and return its cell counts.

    Parameters
    ----------
    case, resolution
        See :func:`resolve`.
    full
        Whether to mesh the full tube.
    file
        Its ending sets the format: .msh for gmsh, .vtu or .vtk for ParaView.

    Raises
    ------
    InputError
        If the resolution or the ending is not known.
    OSError
        If the file cannot be written.
    """
    import meshio  # slow to import, and only needed here

    if file.suffix.lower() not in MESH_FORMATS:
        raise InputError(f"{file}: the name must end in {' or '.join(MESH_FORMATS)}")
    counts = meshed_counts(case, resolution, full)
    sectors = 1 if full else sectors_of(counts)
    cells = resolve(case, resolution, sectors, counts)
    with TemporaryDirectory() as folder:
        raw = Path(folder) / "tube.msh"
        with tube(_shape(case.tube, sectors), cells):
            gmsh.write(str(raw))
        if file.suffix.lower() == ".msh":
            write_bytes(file, raw.read_bytes())
        else:
            read = meshio.read(raw, file_format="gmsh")
            groups = {"group": read.cell_data["gmsh:physical"]}  # numbers of `GROUPS`
            mesh = meshio.Mesh(read.points, read.cells, cell_data=groups)
            with in_place_of(file) as part:
                mesh.write(part, file_format=file.suffix.lower()[1:])
    return cells


def _shape(size: Tube, sectors: int) -> TubeShape:
    least = MIN_WALL_RATIO * size.outer_radius
    if min(size.wall, size.length) < least:
        raise ResolutionError(
            f"tube: wall and length must be at least {least:.3g} mm to be meshed, "
            f"{MIN_WALL_RATIO:g} of the outer radius; the fast model allows less"
        )
    return TubeShape(size.bore_radius, size.outer_radius, size.length, sectors)
