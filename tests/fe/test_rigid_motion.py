"""A rigid motion of the full tube causes no strain, and rotates existing forces."""

import numpy as np
import pytest

from fem.fe.mesh.body import NODES
from fem.fe.part import Evaluation
from fem.fe.wall.cell_forms import DISPLACEMENTS, PRESSURES, PotentialPart
from tests.helpers.displaced import ROUND_OFF, B, L, close, forces_of, perturbed


def rotated(points, angle):
    cos, sin = np.cos(angle), np.sin(angle)
    return points @ np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]]).T


def at_nodes(body, cell_vectors):
    """Return the sum of cell vectors, shape (cells, 85), at each node; shape (nodes, 3)."""
    total = np.zeros_like(body.nodes)
    by_node = cell_vectors[:, :DISPLACEMENTS].reshape(-1, NODES, 3)
    np.add.at(total, body.connectivity, by_node)
    return total


@pytest.fixture(scope="module")
def full(make_case, make_model):
    """Return the full tube on a coarse mesh."""
    return make_model(make_case(), "1x1x2", full=True)


RIGID = {
    "rotation": lambda nodes: rotated(nodes, 2.5),
    "translation": lambda nodes: nodes + np.array([0.0, 0.0, 11.0]),
}


@pytest.mark.parametrize("name", RIGID)
def test_rigid_motion_from_rest_causes_no_energy_and_no_force(full, name):
    body, law = full.body, full.case.rubber.constitutive_law
    zeros = np.zeros((len(body.connectivity), PRESSURES))
    bore = PotentialPart(full.tube.bore)
    volume = bore.energy(Evaluation(np.zeros_like(body.nodes), zeros))
    at = Evaluation(RIGID[name](body.nodes) - body.nodes, zeros)
    scale = law.shear_modulus * L * (B**2 - 5.0**2)
    wall, *threads = full.parts
    assert abs(wall.energy(at)) < ROUND_OFF * scale
    assert np.abs(forces_of(wall, body, at)).max() < ROUND_OFF * scale
    assert bore.energy(at) == pytest.approx(volume, rel=ROUND_OFF)
    for family in threads:
        assert np.abs(family.strain(at)).max() < ROUND_OFF
        assert np.abs(forces_of(family, body, at)).max() < ROUND_OFF * family.family.stiffness


@pytest.mark.parametrize("name", RIGID)
def test_rigid_motion_keeps_energy_and_volume_and_rotates_forces(full, name):
    body = full.body
    pressure = np.random.default_rng(3).uniform(-0.05, 0.05, (len(body.connectivity), PRESSURES))
    now = body.nodes + perturbed(body)
    results = []
    for positions in (now, RIGID[name](now)):
        at = Evaluation(positions - body.nodes, pressure)
        parts = [*full.parts, PotentialPart(full.tube.bore)]
        scalars = [part.energy(at) for part in parts]
        vectors = [forces_of(part, body, at)[: body.nodes.size].reshape(-1, 3) for part in parts]
        results.append((scalars, vectors))
    (before, forces_before), (after, forces_after) = results
    assert min(np.abs(before)) > 1.0  # N mm and mm3: none is zero
    assert after == pytest.approx(before, rel=ROUND_OFF)
    for old, new in zip(forces_before, forces_after, strict=True):
        assert close(new, RIGID["rotation"](old) if name == "rotation" else old, ROUND_OFF)


def test_derivative_of_the_volume_is_the_force_of_unit_pressure(full):
    """Except on the end plates, it is the surface integral of the normal."""
    body = full.body
    full.tube.field.set(perturbed(body), np.zeros((len(body.connectivity), PRESSURES)))
    off_plates = np.setdiff1d(body.on("bore"), [*body.on("base"), *body.on("free end")])
    by_volume = at_nodes(body, full.tube.bore.gradient())[off_plates]
    by_pressure = at_nodes(body, full.tube.bore_force.assemble())[off_plates]
    # the quadrature is not exact on curved cells
    assert close(by_volume, by_pressure, 1e-9)
