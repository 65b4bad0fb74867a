"""Admissible motions: constraints, and both derivatives of the map."""

import numpy as np
import pytest

from fem.fe.mesh.body import NODES, mesh_tube
from fem.fe.system.motion import FIXED, Motion
from meshes.tube import Cells

B, L = 6.5, 60.0
TWIST, END_DISPLACEMENT = 4.0, -7.0


@pytest.fixture(scope="module", params=[12, 4, 1], ids=["twelfth", "quarter", "full"])
def motion(request, make_case):
    case = make_case()
    return Motion(
        mesh_tube(case.tube, Cells(1, 12 // request.param, 2), request.param),
        case.tube.outer_radius,
    )


@pytest.fixture
def q(motion):
    """Return large unknowns: every node displaced, the free end twisted by 4 rad."""
    rng = np.random.default_rng(5)
    q = rng.uniform(-1.0, 1.0, motion.size)
    q[1 : motion.size - 2 : 3] *= 10.0  # rotations up to 2 rad inside as well
    q[-2:] = B * TWIST, END_DISPLACEMENT
    return q


@pytest.fixture
def forces(motion):
    """Return Cartesian forces on the nodes of each cell, shape (cells, 27, 3)."""
    shape = (len(motion.body.connectivity), NODES, 3)
    return np.random.default_rng(6).standard_normal(shape)


def rotated(points, angle):
    cos, sin = np.cos(angle), np.sin(angle)
    return points @ np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]]).T


def close(found, expected, rel):
    """Return whether arrays differ by at most `rel` of the largest entry."""
    return np.abs(found - expected).max() <= rel * np.abs(expected).max()


ROUND_OFF = 1e-12  # mm, on coordinates up to 60


def test_nothing_moves_at_rest(motion):
    assert np.abs(motion.displacement(np.zeros(motion.size))).max() < ROUND_OFF


def test_unknowns_of_the_free_nodes_and_the_plate(motion):
    around = (
        12 // motion.body.sectors
    )  # cells; a sector has one more row of nodes, which are constrained
    assert motion.size == 3 * (3 * 2 * around * 3) + 2  # 3 of the 5 layers of nodes are free


def test_base_is_fixed(motion, q):
    assert np.abs(motion.displacement(q)[motion.body.on("base")]).max() < ROUND_OFF


def test_free_end_moves_as_a_rigid_plate(motion, q):
    plate = motion.body.on("free end")
    rest = motion.body.nodes[plate]
    now = rest + motion.displacement(q)[plate]
    assert np.abs(now - rotated(rest, TWIST) - [0, 0, END_DISPLACEMENT]).max() < ROUND_OFF
    assert motion.twist(q) == pytest.approx(TWIST, rel=1e-15)  # round-off
    assert motion.end_displacement(q) == END_DISPLACEMENT


def test_cut_faces_match_after_the_motion(motion, q):
    if motion.body.sectors == 1:
        assert len(motion.body.on("start cut")) == 0
        return
    nodes, angle = motion.body.nodes, 2 * np.pi / motion.body.sectors
    start, end = motion.body.on("start cut"), motion.body.on("end cut")
    gaps = np.linalg.norm(rotated(nodes[start], angle)[:, None] - nodes[end][None], axis=-1)
    partner = end[gaps.argmin(axis=1)]
    now = nodes + motion.displacement(q)
    # gmsh places matching nodes within 1e-11 mm of each other
    assert np.abs(rotated(now[start], angle) - now[partner]).max() < 1e-10


def test_all_other_nodes_are_independent(motion):
    """Nodes share an unknown only by a constraint; each unknown belongs to some node."""
    constrained = np.concatenate([motion.body.on(name) for name in ("base", "free end", "end cut")])
    free = np.setdiff1d(np.arange(len(motion.body.nodes)), constrained)
    unknown = motion.unknown[free]
    assert len(np.unique(unknown)) == unknown.size == motion.size - 2
    assert np.all(unknown != FIXED)


def test_polar_coordinates_are_those_of_the_moved_nodes(motion, q):
    radius, rotation, z = motion.polar(q)
    rest = motion.body.nodes
    now = rest + motion.displacement(q)
    theta = np.arctan2(rest[:, 1], rest[:, 0]) + rotation
    assert np.abs(np.hypot(now[:, 0], now[:, 1]) - radius).max() < ROUND_OFF
    assert np.abs(now[:, 0] - radius * np.cos(theta)).max() < ROUND_OFF
    assert np.abs(now[:, 2] - z).max() < ROUND_OFF


# The map consists of sines with periods of 2 pi R: differences with a step of 0.01 mm have an error
# of (0.01/R)^4, 1e-11, and a round-off of eps L / 0.01 mm, 1e-12.
STEP, LIMIT = 1e-2, 1e-6


def directions(motion, count=6):
    """Return random directions, and the two of the plate."""
    found = np.random.default_rng(7).uniform(-1, 1, (count, motion.size))
    return [*found, *np.eye(motion.size)[-2:]]


def test_tangent_is_the_derivative_of_the_displacement(motion, q, derivative):
    tangent = motion.tangent(q)
    for direction in directions(motion):
        difference = derivative(motion.displacement, q, direction, STEP)
        along = np.append(direction, 0.0)[motion.unknown]  # FIXED, -1, is the zero at the end
        found = (tangent @ along[..., None])[..., 0]
        assert close(found, difference, LIMIT)


def reduced(motion, q, forces):
    """Return T'f by the unknowns."""
    columns = forces.reshape(len(forces), -1, 1)
    return motion.assemble(motion.pull_back(motion.tangent(q), columns)[..., 0])


def test_reduced_forces_are_the_derivative_of_their_work(motion, q, forces, derivative):
    def work(q):
        return np.sum(forces * motion.displacement(q)[motion.body.connectivity])

    for direction in directions(motion):
        difference = derivative(work, q, direction, STEP)
        # relative to the sum of all entries, as the products may almost cancel
        entries = reduced(motion, q, forces) * direction
        assert abs(entries.sum() - difference) <= LIMIT * np.abs(entries).sum()


def test_curvature_is_the_second_derivative_of_the_work(motion, q, forces, derivative):
    curvature = motion.curvature(q, forces)
    assert np.array_equal(curvature, curvature.swapaxes(-1, -2))
    for direction in directions(motion)[:-1]:  # it is zero along the end displacement
        difference = derivative(lambda q: reduced(motion, q, forces), q, direction, STEP)
        local = np.append(direction, 0.0)[motion.cell_unknowns]
        second = curvature @ local.reshape(*forces.shape, 1)
        assert close(motion.assemble(second.reshape(len(forces), -1)), difference, LIMIT)


def test_end_displacement_has_no_second_derivative(motion, q, forces):
    local = np.append(np.eye(motion.size)[-1], 0.0)[motion.cell_unknowns]
    assert not np.any(motion.curvature(q, forces) @ local.reshape(*forces.shape, 1))


def test_pull_back_of_many_columns(motion, q):
    columns = np.random.default_rng(8).standard_normal((len(motion.body.connectivity), 81, 3))
    tangent = motion.tangent(q)
    together = motion.pull_back(tangent, columns)
    for number in range(3):
        alone = motion.pull_back(tangent, columns[..., number : number + 1])
        assert close(together[..., number], alone[..., 0], 1e-14)  # round-off


def test_end_load_vectors_are_the_derivatives_of_displacement_and_twist(motion, q):
    vectors = motion.end_load_vectors()
    assert vectors.shape == (motion.size, 2)
    for unit, (displacement, twist) in zip(np.eye(motion.size), vectors, strict=True):
        # both are linear in q
        assert motion.end_displacement(q + unit) - motion.end_displacement(q) == pytest.approx(
            displacement, abs=1e-13
        )
        assert motion.twist(q + unit) - motion.twist(q) == pytest.approx(twist, abs=1e-13)
    assert np.count_nonzero(vectors) == 2


def test_pull_back_of_some_cells(motion, q):
    cells = np.array([1, 0, 1])
    columns = np.random.default_rng(8).standard_normal((len(motion.body.connectivity), 81, 2))
    tangent = motion.tangent(q)
    some = motion.pull_back(tangent, columns[cells], cells)
    assert np.array_equal(some, motion.pull_back(tangent, columns)[cells])


def test_vectors_of_cells_are_assembled_into_columns(motion, q):
    """Each column is the sum of its vectors; a cell may occur several times."""
    random = np.random.default_rng(9)
    cells, column = np.array([0, 1, 1, 0, 1]), np.array([2, 0, 2, 2, 1])
    vectors = random.standard_normal((5, 81))
    found = motion.assemble_columns(vectors, cells, column)
    assert found.shape == (motion.size, 3)
    for number in range(3):
        total = np.zeros((len(motion.body.connectivity), 81))
        for cell, vector in zip(cells[column == number], vectors[column == number], strict=True):
            total[cell] += vector
        assert found[:, number] == pytest.approx(motion.assemble(total), abs=1e-13)
