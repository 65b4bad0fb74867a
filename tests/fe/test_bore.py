"""The volume enclosed by faces of every local number, and its derivatives."""

import dolfinx
import numpy as np
import pytest
from mpi4py import MPI

from fem.fe.mesh.body import Body
from fem.fe.wall.bore import faces_on_bore
from fem.fe.wall.cell_forms import DISPLACEMENTS, PRESSURES, UNKNOWNS, BrokenField
from fem.fe.wall.energy import enclosed_volume
from meshes.tube import GROUPS, Cells
from tests.helpers.displaced import LIMIT, ROUND_OFF, close

SIZE = np.array([2.0, 3.0, 5.0])


@pytest.fixture(scope="module", params=["right-handed", "mirrored"])
def block(request):
    """Return one cell, all of whose faces are on the bore."""
    cell = dolfinx.mesh.CellType.hexahedron
    mesh = dolfinx.mesh.create_box(MPI.COMM_SELF, [np.zeros(3), SIZE], [1, 1, 1], cell)
    if request.param == "mirrored":
        mesh.geometry.x[:, 0] *= -1
    mesh.topology.create_entities(2)
    bore = np.full(6, GROUPS["bore"], dtype=np.int32)
    facets = dolfinx.mesh.meshtags(mesh, 2, np.arange(6, dtype=np.int32), bore)
    space = dolfinx.fem.functionspace(mesh, ("Lagrange", 2))
    nodes, connectivity = space.tabulate_dof_coordinates(), np.asarray(space.dofmap.list)
    return Body(mesh, facets, space, Cells(1, 1, 1), 1, nodes, connectivity)


@pytest.fixture
def perturbed(block):
    field = BrokenField(block)
    noise = np.random.default_rng(3).uniform(-0.2, 0.2, block.nodes.shape)
    field.set(noise, np.zeros((1, PRESSURES)))
    return field


def test_faces_of_every_number_are_found(block):
    assert [(len(faces.cells), len(faces.nodes)) for faces in faces_on_bore(block)] == [(1, 9)] * 6


def test_volume_enclosed_by_all_faces_of_a_block(block):
    """The bore is outside the cell: its volume is minus that of the block."""
    field = BrokenField(block)
    assert enclosed_volume(field).value() == pytest.approx(-SIZE.prod(), rel=ROUND_OFF)


def test_second_derivative_agrees_with_differences_of_the_first(perturbed, derivative):
    volume, values = enclosed_volume(perturbed), perturbed.function.x.array
    at, hessian = values.copy(), volume.hessian()[0]

    def forces(unknowns):
        values[:] = unknowns
        return volume.gradient()[0]

    columns = [derivative(forces, at, unit, 1e-3) for unit in np.eye(UNKNOWNS)]
    assert close(hessian, np.column_stack(columns), LIMIT)


def test_volume_is_a_cubic_form(perturbed):
    """By Euler's theorem on homogeneous functions, x H x = 6 V and H x = 2 V' (textbook)."""
    volume = enclosed_volume(perturbed)
    x = perturbed.positions().ravel()
    hessian = volume.hessian()[0, :DISPLACEMENTS, :DISPLACEMENTS]
    assert x @ hessian @ x == pytest.approx(6 * volume.value(), rel=ROUND_OFF)
    assert close(hessian @ x, 2 * volume.gradient()[0, :DISPLACEMENTS], ROUND_OFF)
