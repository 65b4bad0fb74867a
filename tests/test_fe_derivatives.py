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
from fem.fe.lowrank import LowRankUpdate
from fem.fe.outer import OuterFace
from fem.fe.threads import ImmersedFamily
from fem.fe.wall import QUADRATURE
from fem.loading import AXIAL, PRESSURE, TWIST
from fem.path import follow
from fem.stages import loading_of, stages_of
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
    assert not np.isfinite(model.error(model.internal(x)))
    with pytest.raises(ArithmeticError):
        model.tangent(x, np.zeros(3))


# --- threads --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def threads(make_case, make_model):
    """Return a function that lays a family into a twelfth of the tube, or into all of it."""

    def lay(angle, count=24, full=False, **law):
        body = make_model(make_case(), "1x1x3", full).body
        family = ThreadFamily(name="A", count=count, angle=angle, stiffness="200 N", **law)
        return body, ImmersedFamily(family, OuterFace(body, B))

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


@pytest.mark.parametrize("slack", ["taken up", "1 %"])
@pytest.mark.parametrize("hold", ["bonded", "gliding"])
@pytest.mark.parametrize("state", THREAD_STATES)
def test_thread_forces_and_stiffness_are_derivatives_of_the_energy(
    threads, derivative, state, hold, slack
):
    angle, toe, motion = THREAD_STATES[state]
    if state.startswith("slack") and hold == "gliding":
        motion, toe = (1.3, 1.05, 0.0), 0.2  # of one tension throughout: all in the toe
    elif state.startswith("slack") and slack == "1 %":
        motion = tuple(1.01 * part for part in motion)
    body, family = threads(angle, toe=toe, hold=hold, slack=slack)
    at = ruffled(body, *motion)
    strain, step = family.strain(at), 1e-4
    # no difference, two steps wide, may reach over a joint of the law
    reach = 2 * step / family.rest.min() if hold == "bonded" else 2 * step / family.rest.sum()
    assert np.abs(np.subtract.outer(strain, [0.0, toe])).min() > reach
    if not state.startswith("slack"):
        assert (strain > toe).all()
    elif hold == "gliding":
        assert ((strain > 0) & (strain < toe)).all()
    else:
        assert (strain < 0).any() and ((strain > 0) & (strain < toe)).any() and (strain > toe).any()
    nodes = body.connectivity[family.host]
    stiffness = np.zeros((at.size, at.size))
    local = (3 * nodes[..., None] + np.arange(3)).reshape(len(nodes), -1)
    for unknowns, link in zip(local, family.stiffness(at), strict=True):
        stiffness[np.ix_(unknowns, unknowns)] += link
    if hold == "gliding":
        gradient, weight = family.rank_one(at)
        columns = np.zeros((at.size, len(weight)))
        for unknowns, part, link in zip(local, gradient, family.link, strict=True):
            columns[unknowns, link] += part
        assert len(weight) == 24 // body.sectors and (weight > 0).all()
        stiffness += columns @ np.diag(weight) @ columns.T

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


@pytest.mark.parametrize("hold", ["bonded", "gliding"])
@pytest.mark.parametrize(("slack", "motion"), [("taken up", (0.7, 0.8)), ("50 %", (1.1, 1.2))])
def test_slack_threads_neither_pull_nor_resist(threads, hold, slack, motion):
    body, family = threads("20 deg", hold=hold, slack=slack)
    at = ruffled(body, *motion, 0.0)
    assert (family.strain(at) < 0).all()
    assert family.energy(at) == 0.0
    assert not np.any(family.forces(at))
    assert not np.any(family.stiffness(at))
    assert not np.any(family.rank_one(at)[1])


@pytest.mark.parametrize("hold", ["bonded", "gliding"])
def test_slack_makes_the_natural_length_longer(threads, hold):
    """Strain is what the length is more than 1.05 times that at rest."""
    body, family = threads("20 deg", hold=hold, slack="5 %")
    _, taut = threads("20 deg", hold=hold)
    at = ruffled(body, 1.3, 1.2, 2.0)
    assert family.strain(at) == pytest.approx((1 + taut.strain(at)) / 1.05 - 1, rel=ROUND_OFF)


def test_threads_cut_too_short_are_wound_in_by_shares(threads):
    """Cut just taut at a smaller angle, they are stretched to reach the plate."""
    body, family = threads("30 deg", slack="cut at 20 deg")
    ratio = np.cos(np.radians(20)) / np.cos(np.radians(30))  # of the helix to the thread
    at_rest = np.zeros_like(body.nodes)
    assert family.strain(at_rest) == pytest.approx(ratio - 1, rel=ROUND_OFF)
    family.tighten(0.0)
    assert family.strain(at_rest) == pytest.approx(0.0, abs=ROUND_OFF)
    family.tighten(0.5)
    assert 0.3 * (ratio - 1) < family.strain(at_rest).min()
    assert family.strain(at_rest).max() < 0.7 * (ratio - 1)
    family.tighten(1.0)
    assert family.strain(at_rest) == pytest.approx(ratio - 1, rel=ROUND_OFF)


def test_gliding_thread_has_the_mean_strain_of_the_bonded_one(threads):
    body, gliding = threads("20 deg", hold="gliding")
    _, bonded = threads("20 deg")
    at = ruffled(body, 1.3, 1.2, 2.0)
    for number in range(24 // body.sectors):
        mine = bonded.passages.thread == number
        mean = bonded.strain(at)[mine] @ bonded.rest[mine] / bonded.rest[mine].sum()
        assert gliding.strain(at)[number] == pytest.approx(mean, rel=1e-9)
    tension = gliding.tension(at)
    assert len(tension) == len(bonded.tension(at))
    for number in range(24 // body.sectors):
        assert np.ptp(tension[gliding.passages.thread == number]) == 0.0


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
def test_even_strain_gives_every_link_the_exact_arm(threads, angle, full):
    """r sin(psi), with tan(psi) = r (tan(alpha)/B + twist/L)/stretch on the radius r."""
    body, family = threads(angle, full=full)
    bulge, stretch, twist = 1.25, 0.9, -0.5
    at = moved(body.nodes, bulge, stretch, twist) - body.nodes
    r = bulge * B
    psi = np.arctan2(r * (np.tan(family.family.angle) / B + twist / L), stretch)
    arm = family.links(at).arm
    # quadratic cells of 20 mm carry the twist to some 1e-3
    assert arm == pytest.approx(r * np.sin(psi), rel=1e-2)
    assert np.abs(arm - r * np.sin(psi)).mean() < 3e-3 * abs(r * np.sin(psi))


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

LOADS = np.array([0.02, 3.0, -7.0])
"""Pressure, force and torque; the last two are dead and have no stiffness."""

VARIANTS = {
    "neo-Hookean": {},
    "Mooney-Rivlin": {"rubber": {"law": "Mooney-Rivlin", "c1": "20 kPa", "c2": "10 kPa"}},
    "gliding": {"threads__0__hold": "gliding", "threads__1__hold": "gliding"},
    "one family glides": {"threads__1__hold": "gliding"},
    "slack": {"threads__0__slack": "1 %", "threads__1__slack": "cut at 29 deg"},
    "gliding and slack": {
        **{"threads__0__hold": "gliding", "threads__0__slack": "1 %"},
        **{"threads__1__hold": "gliding", "threads__1__slack": "cut at 32 deg"},
    },
}


@pytest.fixture(scope="module", params=VARIANTS)
def assembled(request, make_case, make_model):
    """Return a coarse twelfth of the ready tube with its threads held in all ways."""
    return make_model(make_case(**VARIANTS[request.param]), "1x1x2")


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


def by_differences(function, model, x, derivative):
    """Return the derivatives of a function by the unknowns, one a row."""
    return np.array(
        [
            derivative(function, x, unit, step)
            for unit, step in zip(np.eye(len(x)), steps(model), strict=True)
        ]
    )


def hessian_by_differences(model, x, loads, derivative):
    def residual(x):
        return model.internal(x) - model.directions(x) @ loads

    return by_differences(residual, model, x, derivative).T


# twist and shift at which families of both hands pull on the coarse tube
PLACES = {"bulged": (0.15, 2.0, -4.0), "drawn out": (0.1, -0.5, 6.0)}


@pytest.mark.parametrize("place", PLACES)
def test_internal_forces_are_the_derivative_of_the_energy(assembled, derivative, place):
    model = assembled
    x, size = state(model, *PLACES[place]), model.motion.size
    slope = by_differences(model.energy, model, x, derivative)
    internal = model.internal(x)
    assert close(internal[:size], slope[:size], LIMIT)
    assert close(internal[size:], slope[size:], LIMIT)


def test_directions_are_the_derivatives_of_the_coordinates(model, derivative):
    x, size = state(model), model.motion.size
    slope = by_differences(model.coordinates, model, x, derivative)
    directions = model.directions(x)
    for pair in (PRESSURE, AXIAL, TWIST):
        assert close(directions[:, pair], slope[:, pair], LIMIT)
    assert not np.any(directions[size:])


def test_coordinates_are_those_of_the_free_end(model):
    volume, shift, turn = model.coordinates(state(model))
    assert (shift, turn) == (-4.0, 2.0)
    _, displacement = model._set(state(model))
    model.field.set(displacement, np.zeros((len(model.body.connectivity), PRESSURES)))
    assert volume == pytest.approx(model.copies * model.bore.value(), rel=ROUND_OFF)
    model._state = (None, *model._state[1:])  # the forms were handed something else


@pytest.mark.parametrize("place", PLACES)
def test_tangent_solves_what_differences_of_the_residual_say(assembled, derivative, place):
    model, x = assembled, state(assembled, *PLACES[place])
    hessian = hessian_by_differences(model, x, LOADS, derivative)
    tangent = model.tangent(x, LOADS)
    inverse = np.column_stack([tangent.solve(unit) for unit in np.eye(len(x))])
    # entries of the pressure are far greater than the others: each by its own size
    size = np.sqrt(np.abs(np.diag(hessian)))
    product = (hessian @ inverse) / size[:, None] * size
    assert np.abs(product - np.eye(len(x))).max() < LIMIT
    assert close(inverse, inverse.T, LIMIT)


def test_taut_gliding_threads_are_terms_of_rank_one(make_case, make_model):
    """Else nothing of them would have been tested above."""
    for name, (first, second) in {
        "gliding": (True, True),
        "one family glides": (False, True),
        "gliding and slack": (True, True),
    }.items():
        model = make_model(make_case(**VARIANTS[name]), "1x1x2")
        glides = [family.gliding for family in model.threads]
        assert glides == [first, second]
        seen = np.zeros(2, dtype=bool)
        for place in PLACES.values():
            x = state(model, *place)
            _, displacement = model._set(x)
            taut = np.array([family.tension(displacement).max() > 0 for family in model.threads])
            updated = isinstance(model.tangent(x, LOADS), LowRankUpdate)
            assert updated == np.any(taut & glides)
            seen |= taut
        assert seen.all()


# drawn long, so that the threads are taut; and pushed together and blown up
INERTIA_STATES = [((0.0, 0.0, 6.0), 0.0), ((0.15, 2.0, -4.0), 0.02), ((0.15, 2.0, -4.0), 0.8)]


@pytest.mark.parametrize(("place", "load"), INERTIA_STATES)
def test_negative_eigenvalues_are_counted(assembled, derivative, place, load):
    """By Sylvester's law of inertia the factors count those of the condensed matrix."""
    model, loads = assembled, np.array([load, 0.0, 0.0])
    x, size = state(model, *place), model.motion.size
    hessian = hessian_by_differences(model, x, loads, derivative)
    condensed = hessian[:size, :size] - hessian[:size, size:] @ np.linalg.solve(
        hessian[size:, size:], hessian[size:, :size]
    )
    eigenvalues = np.linalg.eigvalsh((condensed + condensed.T) / 2)
    # the sign of each is beyond doubt: the differences are off by 1e-9 of the greatest entry
    assert np.abs(eigenvalues).min() > 1e-7 * np.abs(eigenvalues).max()
    assert model.tangent(x, loads).negative == (eigenvalues < 0).sum()


def test_these_states_differ_in_their_negative_eigenvalues(assembled):
    counts = [
        assembled.tangent(state(assembled, *place), np.array([load, 0.0, 0.0])).negative
        for place, load in INERTIA_STATES
    ]
    assert counts[0] == 0
    assert len(set(counts)) == 3


def test_states_are_left_alone(assembled):
    model = assembled
    x = state(model)
    model.internal(x)
    model.coordinates(x)
    model.tangent(x, LOADS).solve(np.ones_like(x))
    model.snapshot(x)
    assert np.array_equal(x, state(model))


def test_another_array_is_another_state(model):
    """The model keeps what it has handed to the forms: a new array is a new state."""
    x = state(model)
    energy = model.energy(x)
    other = x + 0.01
    assert model.energy(other) != energy
    assert model.energy(x) == pytest.approx(energy, rel=1e-14)


def path(case, model):
    return list(follow(model, loading_of(case), stages_of(case)))


SHORT = {"pressure": {"end": "4 kPa", "steps": 2}}


@pytest.mark.parametrize("variant", ["neo-Hookean", "gliding", "slack"])
def test_sector_and_full_tube_follow_the_same_path(make_case, make_model, variant):
    case = make_case(**VARIANTS[variant], **SHORT)
    ends = []
    for whole in (False, True):
        model = make_model(case, "1x1x2", full=whole)
        last = path(case, model)[-1]
        ends.append((last, model.energy(last.x), model.tangent(last.x, last.loads).negative))
    (sector, *others), (whole, *others_whole) = ends
    # equilibrium is found to 1e-8 of the force scale, and nothing here is much softer than the wall
    assert sector.coordinates == pytest.approx(whole.coordinates, rel=1e-6)
    assert others == pytest.approx(others_whole, rel=1e-6)
    # the work is integrated over steps, whose lengths hang on iteration counts: to its own bar
    assert sector.work == pytest.approx(whole.work, rel=2e-3)
    assert abs(whole.coordinates[TWIST]) > 0.01


ENDS = {
    "free": {},
    "loaded": {"end": {"force": "0.5 N", "torque": "-2 N mm"}},
    "held": {"end": {"axial": "held", "twist": "held"}},
    "springs": {"end": {"axial_spring": "0.5 N/mm", "twist_spring": "20 N mm/rad"}},
}


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize("variant", ["neo-Hookean", "gliding", "slack"])
def test_base_carries_the_loads(make_case, make_model, variant, end):
    case = make_case(**VARIANTS[variant], **ENDS[end], **SHORT)
    model = make_model(case, "1x1x2")
    last = path(case, model)[-1]
    carried = model.reactions(last.x, last.loads)
    thrust, pull, torque = last.loads * [carried.bore_area, 1.0, 1.0]
    # the area is that of the circle, the mesh's is 1.6e-4 smaller (see the enclosed volume)
    assert carried.force == pytest.approx(thrust + pull, abs=5e-4 * thrust)
    assert carried.torque == pytest.approx(torque, abs=1e-4 * thrust * B)
    assert thrust > 0.1
    assert end == "free" or abs(pull) > 0.01 < abs(torque)
