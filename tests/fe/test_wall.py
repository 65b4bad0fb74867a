"""Wall and bore, cell by cell: derivatives compared entry by entry with differences.

The states are random; for differences and tolerances see `displaced.py`.
"""

import dolfinx
import numpy as np
import pytest
import ufl

from fem.fe.system.assembly import pull_back_matrices
from fem.fe.wall.cell_forms import DISPLACEMENTS, PRESSURES, UNKNOWNS
from fem.fe.wall.energy import QUADRATURE
from tests.helpers.displaced import LIMIT, ROUND_OFF, L, close, moved, perturbed

U, P = slice(DISPLACEMENTS), slice(DISPLACEMENTS, None)
CELL_STEPS = [1e-3] * DISPLACEMENTS + [1e-2] * PRESSURES  # mm, MPa


@pytest.fixture
def broken(model):
    """Return the unknowns of the cells, and a function that makes a method depend on them."""
    cells = len(model.body.connectivity)
    pressure = np.random.default_rng(2).uniform(-0.05, 0.05, (cells, PRESSURES))
    model.tube.field.set(perturbed(model.body), pressure)
    values = model.tube.field.function.x.array
    at = values.reshape(cells, UNKNOWNS).copy()

    def by_unknowns(method):
        def function(unknowns):
            values[:] = unknowns.ravel()
            return method()

        return function

    return at, by_unknowns


@pytest.mark.parametrize("name", ["wall", "bore"])
def test_cell_gradient_is_the_derivative_of_the_potential(model, broken, derivative, name):
    at, by_unknowns = broken
    potential = getattr(model.tube, name)
    gradient = potential.gradient()
    found = np.zeros_like(at)
    for index in np.ndindex(at.shape):
        direction = np.zeros_like(at)
        direction[index] = 1.0
        found[index] = derivative(by_unknowns(potential.value), at, direction, CELL_STEPS[index[1]])
    assert close(gradient[:, U], found[:, U], LIMIT)
    if name == "bore":
        assert not np.any(gradient[:, P])  # the volume does not depend on the pressures in the wall
    else:
        assert close(gradient[:, P], found[:, P], LIMIT)


@pytest.mark.parametrize("name", ["wall", "bore"])
def test_cell_hessian_is_the_derivative_of_the_gradient(model, broken, derivative, name):
    at, by_unknowns = broken
    potential = getattr(model.tube, name)
    hessian = potential.hessian()
    found = np.zeros_like(hessian)
    for number, step in enumerate(CELL_STEPS):  # in all cells at once, as they share no unknown
        direction = np.zeros_like(at)
        direction[:, number] = 1.0
        found[:, :, number] = derivative(by_unknowns(potential.gradient), at, direction, step)
    assert close(hessian[:, U, U], found[:, U, U], LIMIT)
    assert close(hessian, hessian.swapaxes(1, 2), ROUND_OFF)
    if name == "bore":
        assert not np.any(hessian[:, :, P])
    else:
        assert close(hessian[:, U, P], found[:, U, P], LIMIT)
        assert close(hessian[:, P, P], found[:, P, P], LIMIT)


def test_hessian_is_added_with_a_factor(model, broken):
    for potential in (model.tube.wall, model.tube.bore):
        total = np.ones((len(broken[0]), UNKNOWNS, UNKNOWNS))
        potential.second.add_to(total, -3.0)
        assert close(total, 1 - 3 * potential.hessian(), ROUND_OFF)


def test_size_of_chunks_makes_no_difference(model, broken, monkeypatch):
    together = model.tube.wall.hessian()
    pulled = together.copy()
    tangent = model.motion.tangent(np.linspace(0, 1, model.motion.size))
    pull_back_matrices(model.motion, tangent, pulled)
    monkeypatch.setattr("fem.fe.wall.cell_forms.CHUNK", 1)
    one_by_one = model.tube.wall.hessian()
    assert close(one_by_one, together, ROUND_OFF)
    pull_back_matrices(model.motion, tangent, one_by_one)
    assert close(one_by_one, pulled, ROUND_OFF)


def test_hessian_of_the_volume_is_added_to_cells_on_the_bore(make_case, make_model):
    """Of two cells through the wall, only the inner one has a face on the bore."""
    model = make_model(make_case(), "2x1x2")
    cells = len(model.body.connectivity)
    model.tube.field.set(perturbed(model.body), np.zeros((cells, PRESSURES)))
    hessian = model.tube.bore.hessian()
    bore = np.hypot(*model.body.nodes[model.body.connectivity, :2].T).min(axis=0) < 5.0 + 1e-6
    assert 0 < bore.sum() < cells
    assert not hessian[~bore].any()
    forces = model.tube.bore.gradient()[bore, U].reshape(bore.sum(), -1, 3)
    rotation = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 0.0]])  # about the axis
    positions = (model.body.nodes + perturbed(model.body))[model.body.connectivity[bore]]
    rotated = (positions @ rotation.T).reshape(bore.sum(), -1, 1)
    found = (hessian[bore][:, U, U] @ rotated).reshape(forces.shape)
    assert close(found, forces @ rotation.T, ROUND_OFF)  # the forces rotate with the bore


def test_energy_of_a_homogeneous_deformation_is_density_times_volume(model):
    """F and p are constant, so the density is computed in closed form.

    The cell pressures of a constant p are interpolated once.
    """
    F = np.array([[1.3, 0.2, -0.1], [-0.1, 0.9, 0.3], [0.05, -0.2, 1.1]])
    p, rubber, mesh = 0.03, model.case.rubber.constitutive_law, model.body.mesh
    model.tube.field.function.sub(1).interpolate(lambda x: np.full(x.shape[1], p))
    pressure = model.tube.field.function.x.array.reshape(-1, UNKNOWNS)[:, P].copy()
    model.tube.field.set(model.body.nodes @ F.T - model.body.nodes, pressure)
    J, C = np.linalg.det(F), F.T @ F
    i1 = J ** (-2 / 3) * np.trace(C)
    i2 = J ** (-4 / 3) * (np.trace(C) ** 2 - np.trace(C @ C)) / 2
    density = (
        rubber.energy(i1, i2, *rubber.parameters) + p * (J - 1) - p**2 / rubber.bulk_modulus / 2
    )
    one = dolfinx.fem.Constant(mesh, 1.0) * ufl.dx(mesh, metadata=QUADRATURE)
    volume = dolfinx.fem.assemble_scalar(dolfinx.fem.form(one))
    assert model.tube.wall.value() == pytest.approx(density * volume, rel=ROUND_OFF)


def test_enclosed_volume_grows_with_the_section_and_the_length(model):
    zeros = np.zeros((len(model.body.connectivity), PRESSURES))
    model.tube.field.set(np.zeros_like(model.body.nodes), zeros)
    rest = model.tube.bore.value()
    # a parabola through three points of an arc of angle t encloses t^4 / 480 less than the arc
    # (derived here), relative to the sector; for the bore this fraction is larger
    assert rest * model.copies == pytest.approx(np.pi * 5.0**2 * L, rel=5e-4)
    model.tube.field.set(moved(model.body.nodes, 1.2, 0.9, 0.0) - model.body.nodes, zeros)
    assert model.tube.bore.value() == pytest.approx(1.2**2 * 0.9 * rest, rel=ROUND_OFF)


def test_inverted_cell_has_no_residual(model):
    """The path reduces its step there; a finite value would be taken for a valid one."""
    x = model.rest()
    bore = np.hypot(*model.body.nodes[:, :2].T) < 5.1
    outward = model.motion.unknown[bore, 0]
    x[outward[outward >= 0]] = 4.0  # the bore outside the outer face
    assert not np.isfinite(model.error(model.internal_force(x)))
    with pytest.raises(ArithmeticError):
        model.tangent(x, np.zeros(3))
