"""Every contribution to the finite-element model is differentiated once more, by differences.

Each is held entry by entry against what it is the derivative of, at random displaced states. The
differences are of fourth order: with steps a thousandth of a cell they leave 1e-9 of the greatest
entry at most. What the project asks for is 1e-6.
"""

import dolfinx
import numpy as np
import pytest
import ufl

from fem.fe.broken import DISPLACEMENTS, NODES, PRESSURES, UNKNOWNS
from fem.fe.threads import ImmersedFamily
from fem.fe.wall import QUADRATURE
from fem.path import follow
from fem.thread import ThreadFamily

LIMIT = 1e-6
ROUND_OFF = 1e-11  # of sums over a mesh, in code compiled for speed
B, L = 6.5, 60.0


def close(found, expected, rel):
    """Whether arrays differ by no more than `rel` of the greatest entry."""
    return np.abs(found - expected).max() <= rel * np.abs(expected).max()


def moved(nodes, bulge, stretch, twist):
    """Return the nodes of a tube that is bulged, stretched, and twisted (rad) evenly."""
    x, y, z = nodes.T
    cos, sin = np.cos(twist * z / L), np.sin(twist * z / L)
    return np.column_stack([bulge * (x * cos - y * sin), bulge * (x * sin + y * cos), stretch * z])


def ruffled(body, bulge=1.3, stretch=1.1, twist=2.0):
    """Return displacements like those, with every node off its place besides."""
    noise = np.random.default_rng(1).uniform(-0.05, 0.05, body.nodes.shape)
    return moved(body.nodes, bulge, stretch, twist) + noise - body.nodes


def turned(points, angle):
    cos, sin = np.cos(angle), np.sin(angle)
    return points @ np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]]).T


def at_nodes(body, cell_vectors):
    """Return the sum of cell vectors, shape (cells, 81 or 85), at each node; shape (nodes, 3)."""
    total = np.zeros_like(body.nodes)
    by_node = cell_vectors[:, :DISPLACEMENTS].reshape(-1, NODES, 3)
    np.add.at(total, body.connectivity, by_node)
    return total


@pytest.fixture(scope="module", params=["neo-Hookean", "Mooney-Rivlin"])
def model(request, make_case, make_model, rubbers):
    """Return a coarse twelfth of the ready tube, of each rubber."""
    return make_model(make_case(rubber=rubbers[request.param]), "1x1x2")


@pytest.fixture(scope="module")
def full(make_case, make_model):
    """Return the full tube, as coarse."""
    return make_model(make_case(), "1x1x2", full=True)


# --- wall and bore, cell by cell ------------------------------------------------------------

U, P = slice(DISPLACEMENTS), slice(DISPLACEMENTS, None)
CELL_STEPS = [1e-3] * DISPLACEMENTS + [1e-2] * PRESSURES  # mm, MPa


@pytest.fixture
def broken(model):
    """Return where the cells' unknowns are, and what makes a function of them out of a method."""
    cells = len(model.body.connectivity)
    pressure = np.random.default_rng(2).uniform(-0.05, 0.05, (cells, PRESSURES))
    model.field.set(ruffled(model.body), pressure)
    values = model.field.function.x.array
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
    potential = getattr(model, name)
    gradient = potential.gradient()
    found = np.zeros_like(at)
    for index in np.ndindex(at.shape):
        direction = np.zeros_like(at)
        direction[index] = 1.0
        found[index] = derivative(by_unknowns(potential.value), at, direction, CELL_STEPS[index[1]])
    assert close(gradient[:, U], found[:, U], LIMIT)
    if name == "bore":
        assert not np.any(gradient[:, P])  # the volume knows nothing of the wall's pressure
    else:
        assert close(gradient[:, P], found[:, P], LIMIT)


@pytest.mark.parametrize("name", ["wall", "bore"])
def test_cell_hessian_is_the_derivative_of_the_gradient(model, broken, derivative, name):
    at, by_unknowns = broken
    potential = getattr(model, name)
    hessian = potential.hessian()
    found = np.zeros_like(hessian)
    for number, step in enumerate(CELL_STEPS):  # in all cells at once: they share no unknown
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


def test_hessian_is_added_with_its_factor(model, broken):
    for potential in (model.wall, model.bore):
        total = np.ones((len(broken[0]), UNKNOWNS, UNKNOWNS))
        potential.add_hessian(total, -3.0)
        assert close(total, 1 - 3 * potential.hessian(), ROUND_OFF)


def test_energy_of_an_even_deformation_is_its_density_times_the_volume(model):
    """The density is worked out by plain arithmetic: F and p are the same everywhere."""
    F = np.array([[1.3, 0.2, -0.1], [-0.1, 0.9, 0.3], [0.05, -0.2, 1.1]])
    p, rubber, mesh = 0.03, model.case.rubber, model.body.mesh
    no_pressure = np.zeros((len(model.body.connectivity), PRESSURES))
    model.field.set(model.body.nodes @ F.T - model.body.nodes, no_pressure)
    model.field.function.sub(1).interpolate(lambda x: np.full(x.shape[1], p))
    J, C = np.linalg.det(F), F.T @ F
    i1 = J ** (-2 / 3) * np.trace(C)
    i2 = J ** (-4 / 3) * (np.trace(C) ** 2 - np.trace(C @ C)) / 2
    density = rubber.energy(i1, i2, *rubber.moduli) + p * (J - 1) - p**2 / rubber.bulk_modulus / 2
    one = dolfinx.fem.Constant(mesh, 1.0) * ufl.dx(mesh, metadata=QUADRATURE)
    volume = dolfinx.fem.assemble_scalar(dolfinx.fem.form(one))
    assert model.wall.value() == pytest.approx(density * volume, rel=ROUND_OFF)


def test_enclosed_volume_grows_with_the_section_and_the_length(model):
    nothing = np.zeros((len(model.body.connectivity), PRESSURES))
    model.field.set(np.zeros_like(model.body.nodes), nothing)
    rest = model.bore.value()
    # a parabola through three points of an arc of angle t encloses t^4 / 480 less than the arc
    # (derived here), and the bore's share of that is larger by its sector without a middle
    assert rest * model.copies == pytest.approx(np.pi * 5.0**2 * L, rel=5e-4)
    model.field.set(moved(model.body.nodes, 1.2, 0.9, 0.0) - model.body.nodes, nothing)
    assert model.bore.value() == pytest.approx(1.2**2 * 0.9 * rest, rel=ROUND_OFF)


def test_inverted_cell_has_no_residual(model):
    """The path cuts its step there; a finite figure would pass for a sound one."""
    x = model.rest()
    bore = np.hypot(*model.body.nodes[:, :2].T) < 5.1
    outward = model.motion.unknown[bore, 0]
    x[outward[outward >= 0]] = 4.0  # the bore beyond the outside
    assert not np.isfinite(model.error(model.residual(x, 0.0)))
    with pytest.raises(ArithmeticError):
        model.tangent(x, 0.0)


# --- threads --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def threads(make_case, make_model):
    """Return a function that lays a family into a twelfth of the tube, or into all of it."""

    def lay(angle, count=24, toe=1e-3, full=False):
        body = make_model(make_case(), "1x1x3", full).body
        family = ThreadFamily(name="A", count=count, angle=angle, stiffness="200 N", toe=toe)
        return body, ImmersedFamily(family, B, body)

    return lay


ANGLES = ["0 deg", "20 deg", "-30 deg", "70 deg"]
# bulge, stretch and twist; with a toe of 0.1 the noise brings links into all its pieces
THREAD_STATES = {
    "taut": ("20 deg", 1e-3, (1.3, 1.2, 2.0)),
    "left-handed": ("-30 deg", 1e-3, (1.4, 1.2, -1.0)),
    "steep": ("70 deg", 1e-3, (1.2, 1.0, 1.0)),
    "straight": ("0 deg", 1e-3, (1.0, 1.1, 0.5)),
    "slack, in the toe, taut": ("20 deg", 0.01, (1.02, 1.0, 0.0)),
}


@pytest.mark.parametrize("state", THREAD_STATES)
def test_thread_forces_and_stiffness_are_derivatives_of_the_energy(threads, derivative, state):
    angle, toe, motion = THREAD_STATES[state]
    body, family = threads(angle, toe=toe)
    at = ruffled(body, *motion)
    strain, step = family.strain(at), 1e-4
    # no difference, two steps wide, may reach over a joint of the law
    assert np.abs(np.subtract.outer(strain, [0.0, toe])).min() > 2 * step / family.rest.min()
    if state.startswith("slack"):
        assert (strain < 0).any() and ((strain > 0) & (strain < toe)).any() and (strain > toe).any()
    else:
        assert (strain > toe).all()
    nodes = body.connectivity[family.host]
    stiffness = np.zeros((at.size, at.size))
    local = (3 * nodes[..., None] + np.arange(3)).reshape(len(nodes), -1)
    for unknowns, link in zip(local, family.stiffness(at), strict=True):
        stiffness[np.ix_(unknowns, unknowns)] += link

    def forces(displacement):
        total = np.zeros_like(at)
        np.add.at(total, nodes, family.forces(displacement).reshape(len(nodes), NODES, 3))
        return total

    slope, curve = np.empty(at.size), np.empty((at.size, at.size))
    for number in range(at.size):
        direction = np.zeros(at.size)
        direction[number] = 1.0
        direction = direction.reshape(at.shape)
        slope[number] = derivative(family.energy, at, direction, step)
        curve[:, number] = derivative(forces, at, direction, step).ravel()
    assert close(forces(at).ravel(), slope, LIMIT)
    assert close(stiffness, curve, LIMIT)
    assert close(stiffness, stiffness.T, ROUND_OFF)


def test_slack_threads_neither_pull_nor_resist(threads):
    body, family = threads("20 deg")
    at = ruffled(body, 0.7, 0.8, 0.0)
    assert (family.strain(at) < 0).all()
    assert family.energy(at) == 0.0
    assert not np.any(family.forces(at))
    assert not np.any(family.stiffness(at))


@pytest.mark.parametrize("full", [False, True], ids=["sector", "full"])
@pytest.mark.parametrize("angle", ANGLES)
def test_even_stretch_gives_every_link_the_exact_strain(threads, angle, full):
    body, family = threads(angle, full=full)
    across, along = 1.25, 0.9
    at = moved(body.nodes, across, along, 0.0) - body.nodes
    sin, cos = np.sin(family.family.angle), np.cos(family.family.angle)
    # F is diagonal, and a mesh of quadratic cells carries it exactly
    expected = np.hypot(across * sin, along * cos) - 1
    assert np.abs(family.strain(at) - expected).max() < ROUND_OFF


@pytest.mark.parametrize("full", [False, True], ids=["sector", "full"])
@pytest.mark.parametrize("angle", ANGLES)
def test_links_are_the_helices_cut_up(threads, angle, full):
    body, family = threads(angle, full=full)
    law = family.family
    thread, ends = family.passages.thread, family.positions(np.zeros_like(body.nodes))
    assert len(np.unique(thread)) == 24 // body.sectors
    for number in range(24 // body.sectors):
        mine = thread == number
        assert family.rest[mine].sum() == pytest.approx(law.length(L), rel=ROUND_OFF)
        assert close(ends[mine][:-1, 1], ends[mine][1:, 0], ROUND_OFF)  # one goes on from the other
        z = ends[mine][..., 2]
        assert (z[0, 0], z[-1, 1]) == pytest.approx((0.0, L), abs=1e-9)
        theta = 2 * np.pi * number / 24 + law.turn_rate(B) * z
        curve = np.stack([B * np.cos(theta), B * np.sin(theta), z], axis=-1)
        # a point off the mesh's parabola is found in its cell by iteration to 1e-12 of the cell
        assert np.abs(ends[mine] - curve).max() < 1e-9


@pytest.mark.parametrize("angle", ["20 deg", "-30 deg", "70 deg"])
def test_links_stay_together_where_a_sector_ends(threads, make_case, make_model, angle):
    body, family = threads(angle)
    motion = make_model(make_case(), "1x1x3").motion
    q = np.random.default_rng(4).uniform(-0.3, 0.3, motion.size)
    q[-2:] = 3.0 * B, 4.0
    ends, thread = family.positions(motion.displacement(q)), family.passages.thread
    on = thread[:-1] == thread[1:]
    assert close(ends[:-1, 1][on], ends[1:, 0][on], 1e-9)  # the iteration above
    assert on.sum() > body.cells.axial  # some links end at a cut face


@pytest.mark.parametrize("angle", ANGLES)
def test_sector_stores_its_share_of_the_full_tube(threads, angle):
    energies = []
    for full in (False, True):
        body, family = threads(angle, full=full)
        energies.append(body.sectors * family.energy(moved(body.nodes, 1.2, 1.1, 2.0) - body.nodes))
    # both meshes have the same cells
    assert energies[0] == pytest.approx(energies[1], rel=1e-9)


# --- rigid motions --------------------------------------------------------------------------

RIGID = {
    "turn": lambda nodes: turned(nodes, 2.5),
    "shift": lambda nodes: nodes + np.array([0.0, 0.0, 11.0]),
}


@pytest.mark.parametrize("name", RIGID)
def test_rigid_motion_from_rest_stores_nothing_and_makes_no_force(full, name):
    body, law = full.body, full.case.rubber
    nothing = np.zeros((len(body.connectivity), PRESSURES))
    full.field.set(np.zeros_like(body.nodes), nothing)
    volume = full.bore.value()
    displacement = RIGID[name](body.nodes) - body.nodes
    full.field.set(displacement, nothing)
    scale = law.shear_modulus * L * (B**2 - 5.0**2)
    assert abs(full.wall.value()) < ROUND_OFF * scale
    assert np.abs(full.wall.gradient()).max() < ROUND_OFF * scale
    assert full.bore.value() == pytest.approx(volume, rel=ROUND_OFF)
    for family in full.threads:
        assert np.abs(family.strain(displacement)).max() < ROUND_OFF
        assert np.abs(family.forces(displacement)).max() < ROUND_OFF * family.family.stiffness


@pytest.mark.parametrize("name", RIGID)
def test_rigid_motion_carries_energy_volume_and_forces_along(full, name):
    body = full.body
    pressure = np.random.default_rng(3).uniform(-0.05, 0.05, (len(body.connectivity), PRESSURES))
    now = body.nodes + ruffled(body)
    seen = []
    for place in (now, RIGID[name](now)):
        full.field.set(place - body.nodes, pressure)
        scalars = [full.wall.value(), full.bore.value()]
        vectors = [at_nodes(body, full.wall.gradient()), at_nodes(body, full.bore.gradient())]
        for family in full.threads:
            scalars.append(family.energy(place - body.nodes))
            total = np.zeros_like(now)
            forces = family.forces(place - body.nodes).reshape(-1, NODES, 3)
            np.add.at(total, body.connectivity[family.host], forces)
            vectors.append(total)
        seen.append((scalars, vectors))
    (before, forces_before), (after, forces_after) = seen
    assert min(np.abs(before)) > 1.0  # N mm and mm3: none is nil by chance
    assert after == pytest.approx(before, rel=ROUND_OFF)
    for old, new in zip(forces_before, forces_after, strict=True):
        assert close(new, RIGID["turn"](old) if name == "turn" else old, ROUND_OFF)


def test_volume_pushes_the_bore_as_the_pressure_does(full):
    """Off the end plates, the slope of the volume is the surface integral of the normal."""
    body = full.body
    nothing = np.zeros((len(body.connectivity), PRESSURES))
    full.field.set(ruffled(body), nothing)
    off_plates = np.setdiff1d(body.on("bore"), [*body.on("base"), *body.on("free end")])
    by_volume = at_nodes(body, full.bore.gradient())[off_plates]
    by_push = at_nodes(body, full.push.assemble())[off_plates]
    # the quadrature is exact for neither product of slopes on a curved cell
    assert close(by_volume, by_push, 1e-9)


# --- the assembled model --------------------------------------------------------------------

LOAD = 0.02


def state(model, bulge=0.15, twist=2.0, shift=-4.0):
    """Return unknowns x: bulged in the middle, twisted (rad), shortened (mm), and ruffled."""
    motion, nodes = model.motion, model.body.nodes
    rng = np.random.default_rng(9)
    radius, z = np.hypot(nodes[:, 0], nodes[:, 1]), nodes[:, 2]
    wave = np.sin(np.pi * z / L)
    c = np.column_stack([bulge * radius * wave, radius * twist * z / L, shift * z / L])
    c += rng.uniform(-0.05, 0.05, c.shape)
    x = np.append(
        np.zeros(motion.size),
        rng.uniform(-0.02, 0.02, PRESSURES * len(model.body.connectivity)),
    )
    moving = motion.scale != 0
    x[motion.unknown[moving]] = c[moving] / motion.scale[moving]
    x[motion.size - 2 : motion.size] = B * twist, shift
    return x


def steps(model):
    """Return a step for each unknown: a length in mm, a pressure in MPa."""
    return np.append(
        np.full(model.motion.size, 1e-3), np.full(len(model.rest()) - model.motion.size, 1e-2)
    )


def hessian_by_differences(model, x, load, derivative):
    columns = [
        derivative(lambda x: model.residual(x, load), x, unit, step)
        for unit, step in zip(np.eye(len(x)), steps(model), strict=True)
    ]
    return np.column_stack(columns)


def test_residual_is_the_derivative_of_energy_less_load_times_volume(model, derivative):
    def potential(x):
        return (model.energy(x) - LOAD * model.snapshot(x).volume) / model.copies

    x, size = state(model), model.motion.size
    slope = np.array(
        [
            derivative(potential, x, unit, step)
            for unit, step in zip(np.eye(len(x)), steps(model), strict=True)
        ]
    )
    residual = model.residual(x, LOAD)
    assert close(residual[:size], slope[:size], LIMIT)
    assert close(residual[size:], slope[size:], LIMIT)


def test_load_direction_is_the_derivative_of_the_volume(model, derivative):
    x, size = state(model), model.motion.size
    slope = [
        derivative(lambda x: model.snapshot(x).volume, x, unit, 1e-3) for unit in np.eye(len(x))
    ]
    direction = model.load_direction(x)
    assert close(model.copies * direction, np.array(slope), LIMIT)
    assert not np.any(direction[size:])


def test_tangent_solves_what_differences_of_the_residual_say(model, derivative):
    x = state(model)
    hessian = hessian_by_differences(model, x, LOAD, derivative)
    tangent = model.tangent(x, LOAD)
    inverse = np.column_stack([tangent.solve(unit) for unit in np.eye(len(x))])
    assert np.abs(hessian @ inverse - np.eye(len(x))).max() < LIMIT
    assert close(inverse, inverse.T, LIMIT)


# drawn long, so that the threads are taut; and pushed together and blown up
INERTIA_STATES = [((0.0, 0.0, 6.0), 0.0), ((0.15, 2.0, -4.0), 0.02), ((0.15, 2.0, -4.0), 0.4)]


@pytest.mark.parametrize(("place", "load"), INERTIA_STATES)
def test_negative_eigenvalues_are_counted(model, derivative, place, load):
    """By Sylvester's law of inertia the factors count those of the condensed matrix."""
    x, size = state(model, *place), model.motion.size
    hessian = hessian_by_differences(model, x, load, derivative)
    condensed = hessian[:size, :size] - hessian[:size, size:] @ np.linalg.solve(
        hessian[size:, size:], hessian[size:, :size]
    )
    eigenvalues = np.linalg.eigvalsh((condensed + condensed.T) / 2)
    # the sign of each is beyond doubt: the entries of the matrix are good to less than this
    assert np.abs(eigenvalues).min() > LIMIT * np.abs(eigenvalues).max()
    assert model.tangent(x, load).negative == (eigenvalues < 0).sum()


def test_these_states_differ_in_their_negative_eigenvalues(model):
    counts = [model.tangent(state(model, *place), load).negative for place, load in INERTIA_STATES]
    assert counts[0] == 0
    assert len(set(counts)) == 3


def test_states_are_left_alone(model):
    x = state(model)
    model.residual(x, LOAD)
    model.tangent(x, LOAD).solve(np.ones_like(x))
    model.snapshot(x)
    assert np.array_equal(x, state(model))


def test_sector_and_full_tube_follow_the_same_path(make_case, make_model, full):
    case = make_case()
    ends = []
    for model in (make_model(case, "1x1x2"), full):
        *_, last = follow(model, [0.002, 0.004])
        ends.append(model.snapshot(last.x))
    sector, whole = ends
    # equilibrium is found to 1e-8 of the force scale, and nothing here is much softer than the wall
    assert sector.twist == pytest.approx(whole.twist, rel=1e-6)
    assert sector.displacement == pytest.approx(whole.displacement, rel=1e-6)
    assert sector.volume == pytest.approx(whole.volume, rel=1e-6)
    assert abs(whole.twist) > 0.01


def test_base_carries_the_thrust_and_no_torque(make_case, make_model):
    case = make_case()
    model = make_model(case, "1x1x2")
    *_, last = follow(model, [0.002, 0.004])
    carried = model.reactions(last.x, last.load)
    # the area is that of the circle, the mesh's is 1.6e-4 smaller (see the enclosed volume)
    assert carried.force == pytest.approx(last.load * carried.bore_area, rel=5e-4)
    assert abs(carried.torque) < 1e-4 * carried.force * B
