"""The protocol of parts: derivatives by differences, and results of the current state."""

import numpy as np
import pytest

from fem.core.cache import MeshCache
from fem.fe.model import FEModel
from fem.fe.part import Evaluation, Part
from fem.fe.wall.cell_forms import PRESSURES, PotentialPart
from tests.helpers.displaced import LIMIT, ROUND_OFF, close, forces_of, perturbed, stiffness_of

LOADS = np.array([0.02, 3.0, -7.0])
PARTS = ["wall", "bore pressure", "bonded", "sliding", "geodesic"]
MESH = "1x1x2"


def part_of(model, name):
    """Return one part of a model of the ready tube."""
    if name == "wall":
        return model.parts[0]
    if name == "bore pressure":
        return PotentialPart(model.tube.bore, -0.02)
    return model.parts[1]


@pytest.mark.parametrize("name", PARTS)
def test_forces_and_stiffness_are_derivatives_of_the_energy(
    make_case, make_model, derivative, name
):
    hold = {"threads__0__hold": name} if name in PARTS[2:] else {}
    model = make_model(make_case(**hold), MESH)
    part, body = part_of(model, name), model.body
    displacement = perturbed(body)
    pressures = np.random.default_rng(2).uniform(-0.05, 0.05, PRESSURES * len(body.connectivity))

    def at(unknowns):
        displacement, pressures = np.split(unknowns, [body.nodes.size])
        return Evaluation(displacement.reshape(-1, 3), pressures.reshape(-1, PRESSURES))

    unknowns = np.append(displacement, pressures)
    steps = np.where(np.arange(len(unknowns)) < body.nodes.size, 1e-3, 1e-2)  # mm, MPa
    forces, stiffness = (of(part, body, at(unknowns)) for of in (forces_of, stiffness_of))
    assert np.any(forces) and np.any(stiffness)
    slope, curve = np.empty_like(forces), np.empty_like(stiffness)
    for number, (unit, step) in enumerate(zip(np.eye(len(unknowns)), steps, strict=True)):
        slope[number] = derivative(lambda x: part.energy(at(x)), unknowns, unit, step)
        curve[:, number] = derivative(lambda x: forces_of(part, body, at(x)), unknowns, unit, step)
    size = body.nodes.size
    for some in (slice(size), slice(size, None)):  # N and mm3 each by their own size
        assert close(forces[some], slope[some], LIMIT)
        for others in (slice(size), slice(size, None)):
            assert close(stiffness[some, others], curve[some, others], LIMIT)
    assert close(stiffness, stiffness.T, ROUND_OFF)


def states(model):
    """Return two states, both with taut threads."""
    x = 1e-2 * np.sin(np.arange(model.rest().size))
    x[model.motion.size :] *= 0.1
    x[model.motion.size - 2 : model.motion.size] = 1.0, 3.0
    return x, 0.5 * x


FUNCTIONS = {
    "energy": lambda model, x: model.energy(x),
    "forces": lambda model, x: model.internal_force(x),
    "coordinates": lambda model, x: model.conjugate_displacements(x),
    "their derivatives": lambda model, x: model.load_vectors(x),
    "tangent": lambda model, x: model.tangent(x, LOADS).solve(np.cos(np.arange(len(x)))),
    "reactions": lambda model, x: model.reactions(x, LOADS).force,
    "stretch": lambda model, x: model.wall_stretch(x),
    "tension": lambda model, x: model.segments(x)[0].tension,
    "shape": lambda model, x: model.shape(x, 0.0).threads[1].ends,
}


@pytest.mark.parametrize("hold", ["bonded", "sliding", "geodesic"])
def test_state_changed_in_place_is_another_state(make_case, hold):
    """Two models share a tube and an array x; models without sharing are the reference."""
    changes = {"threads__0__hold": hold, "threads__1__hold": hold}
    cases = [make_case(**changes), make_case(threads__0__angle="-20 deg", **changes)]
    mesh_cache = MeshCache()
    pair = [FEModel(case, MESH, mesh_cache=mesh_cache) for case in cases]
    assert pair[0].tube is pair[1].tube
    alone = [FEModel(case, MESH) for case in cases]
    first, second = states(pair[0])
    x = first.copy()
    for values in (first, second, first):
        x[:] = values
        for function in FUNCTIONS.values():
            for model, own in zip(pair, alone, strict=True):
                expected = function(own, values.copy())
                found = function(model, x)
                assert np.abs(found - expected).max() <= ROUND_OFF * np.abs(expected).max()
    for function in FUNCTIONS.values():  # the states differ in every function
        assert np.any(function(pair[0], first) != function(pair[0], second))


def test_evaluation_copies_its_arrays():
    displacement = np.ones((4, 3))
    at = Evaluation(displacement)
    displacement[:] = 2.0
    assert np.all(at.displacement == 1.0)
    with pytest.raises(ValueError, match="read-only"):
        at.displacement[0] = 2.0


def test_earlier_evaluation_still_gives_its_results(model):
    """The forms are at another state in between."""
    first, second = states(model)
    at = model.tube.evaluate(first)
    energies = [part.energy(at) for part in model.parts]
    for other in model.parts:
        other.energy(model.tube.evaluate(second))
    assert [part.energy(at) for part in model.parts] == energies


def test_kinematics_and_transfer_are_computed_once_per_state(make_case, make_model, monkeypatch):
    model = make_model(make_case(), MESH)
    calls = []
    for family in model.threads:
        follow = family._kinematics_type
        monkeypatch.setattr(
            family, "_kinematics_type", lambda *of, f=follow: calls.append("run") or f(*of)
        )
    transfer = model.tube.field.set
    monkeypatch.setattr(model.tube.field, "set", lambda *of: calls.append("set") or transfer(*of))
    for x in states(model):
        calls.clear()
        for name in ("energy", "forces", "coordinates", "their derivatives", "tangent"):
            FUNCTIONS[name](model, x.copy())
        assert sorted(calls) == ["run", "run", "set"]


class Spring(Part):
    """A spring between the ground and a node of the first cell, with the energy k |u|^4 / 4."""

    K, NODE = 3.0, slice(3 * 26, 3 * 27)  # N/mm3; the central node of the cell

    def __init__(self, body):
        self.node = body.connectivity[0, 26]

    def energy(self, at):
        return self.K * (at.displacement[self.node] @ at.displacement[self.node]) ** 2 / 4

    def add_forces(self, forces, at):
        u = at.displacement[self.node]
        forces[0, self.NODE] += self.K * (u @ u) * u

    def add_stiffness(self, matrices, at):
        u = at.displacement[self.node]
        matrices[0, self.NODE, self.NODE] += self.K * (2 * np.outer(u, u) + (u @ u) * np.eye(3))


def test_part_is_added_to_the_list_of_the_model(make_case, derivative):
    """Energy, forces and tangent of the model then include it."""
    model = FEModel(make_case(), MESH, full=True)
    (x, _), loads = states(model), LOADS
    node = model.body.connectivity[0, 26]
    x[model.motion.unknown[node]] = 0.2, 0.3, -0.1
    without = model.energy(x)
    model.parts.append(Spring(model.body))
    u = model.tube.evaluate(x).displacement[node]
    assert model.energy(x) - without == pytest.approx(Spring.K * (u @ u) ** 2 / 4, rel=1e-9)
    unit = np.zeros_like(x)
    unit[model.motion.unknown[node, 1]] = 1.0

    def residual(x):
        return model.internal_force(x) - model.load_vectors(x) @ loads

    slope = derivative(model.energy, x, unit, 1e-3)
    assert model.internal_force(x) @ unit == pytest.approx(slope, rel=LIMIT)
    column = derivative(residual, x, unit, 1e-3)
    assert close(model.tangent(x, loads).solve(column), unit, LIMIT)
