"""Embedded threads: forces and stiffness by differences; lengths, strains, arms in closed form."""

import numpy as np
import pytest

from fem.case.thread_family import ThreadFamily
from fem.fe.mesh.outer_face import OuterFace
from fem.fe.part import Evaluation
from fem.fe.threads.family import EmbeddedFamily
from tests.helpers.displaced import (
    LIMIT,
    ROUND_OFF,
    B,
    L,
    close,
    forces_of,
    moved,
    perturbed,
    stiffness_of,
)


@pytest.fixture(scope="module")
def threads(make_case, make_model):
    """Return a function that puts a family into a twelfth of the tube, or into the full tube."""

    def build(angle, count=24, full=False, **law):
        body = make_model(make_case(), "1x1x3", full).body
        family = ThreadFamily(name="A", count=count, angle=angle, stiffness="200 N", **law)
        return body, EmbeddedFamily(family, OuterFace(body, B))

    return build


ANGLES = ["0 deg", "20 deg", "-30 deg", "70 deg"]
# bulge, stretch and twist; with the larger toe the noise puts elements into all ranges of the law
THREAD_STATES = {
    "taut": ("20 deg", 1e-3, (1.3, 1.2, 2.0)),
    "left-handed": ("-30 deg", 1e-3, (1.4, 1.2, -1.0)),
    "steep": ("70 deg", 1e-3, (1.2, 1.0, 1.0)),
    "straight": ("0 deg", 1e-3, (1.0, 1.1, 0.5)),
    "slack, in the toe, taut": ("20 deg", 0.01, (1.02, 1.0, 0.0)),
}


@pytest.mark.parametrize("slack", ["taken up", "1 %"])
@pytest.mark.parametrize("hold", ["bonded", "sliding", "geodesic"])
@pytest.mark.parametrize("state", THREAD_STATES)
def test_thread_forces_and_stiffness_are_derivatives_of_the_energy(
    threads, derivative, state, hold, slack
):
    angle, toe, motion = THREAD_STATES[state]
    if state.startswith("slack") and hold != "bonded":
        motion, toe = (1.3, 1.05, 0.0), 0.2  # one tension: all in the toe region
    elif state.startswith("slack") and slack == "1 %":
        motion = tuple(1.01 * part for part in motion)
    body, family = threads(angle, toe=toe, hold=hold, slack=slack)
    displacement, step = perturbed(body, *motion), 1e-4
    at = Evaluation(displacement)
    strain = family.strain(at)
    # no difference, two steps wide, may cross an end of the toe region
    reach = 2 * step / family.rest.min() if hold == "bonded" else 2 * step / family.rest.sum()
    assert np.abs(np.subtract.outer(strain, [0.0, toe])).min() > reach
    if not state.startswith("slack"):
        assert (strain > toe).all()
    elif hold != "bonded":
        assert ((strain > 0) & (strain < toe)).all()
    else:
        assert (strain < 0).any() and ((strain > 0) & (strain < toe)).any() and (strain > toe).any()
    stiffness, size = stiffness_of(family, body, at), displacement.size
    for terms in family.low_rank(at):
        assert len(terms.weights) == 24 // body.sectors and (terms.weights > 0).all()
    assert bool(family.low_rank(at)) == (hold != "bonded")

    def energy(displacement):
        return family.energy(Evaluation(displacement))

    def forces(displacement):
        return forces_of(family, body, Evaluation(displacement))

    slope, curve = np.empty(size), np.empty((len(stiffness), size))
    for number in range(size):
        direction = np.zeros(size)
        direction[number] = 1.0
        direction = direction.reshape(displacement.shape)
        slope[number] = derivative(energy, displacement, direction, step)
        curve[:, number] = derivative(forces, displacement, direction, step)
    assert close(forces(displacement)[:size], slope, LIMIT)
    assert close(stiffness[:, :size], curve, LIMIT)
    assert close(stiffness, stiffness.T, ROUND_OFF)


def test_other_number_of_threads_on_the_mesh_reports_the_tension_of_the_case(threads):
    """36 threads of 200 N replace 12 of 600 N, each of which has three times the tension."""
    body, spread = threads("20 deg", count=36)
    own = ThreadFamily(name="A", count=12, angle="20 deg", stiffness="600 N")
    family = EmbeddedFamily(own, OuterFace(body, B), count=36)
    at = Evaluation(perturbed(body, 1.3, 1.2, 2.0))
    assert family.tension(at) == pytest.approx(3 * spread.tension(at), rel=ROUND_OFF)
    assert family.segments(at).tension == pytest.approx(family.tension(at), rel=ROUND_OFF)
    # all threads of the mesh act on the wall
    assert close(forces_of(family, body, at), forces_of(spread, body, at), ROUND_OFF)


@pytest.mark.parametrize("hold", ["bonded", "sliding", "geodesic"])
@pytest.mark.parametrize(("slack", "motion"), [("taken up", (0.7, 0.8)), ("50 %", (1.1, 1.2))])
def test_slack_threads_have_neither_force_nor_stiffness(threads, hold, slack, motion):
    body, family = threads("20 deg", hold=hold, slack=slack)
    at = Evaluation(perturbed(body, *motion, 0.0))
    assert (family.strain(at) < 0).all()
    assert family.energy(at) == 0.0
    assert not np.any(forces_of(family, body, at))
    assert not np.any(stiffness_of(family, body, at))


@pytest.mark.parametrize("hold", ["bonded", "sliding", "geodesic"])
def test_slack_increases_the_natural_length(threads, hold):
    """The strain counts from 1.05 times the length at rest."""
    body, family = threads("20 deg", hold=hold, slack="5 %")
    _, taut = threads("20 deg", hold=hold)
    at = Evaluation(perturbed(body, 1.3, 1.2, 2.0))
    assert family.strain(at) == pytest.approx((1 + taut.strain(at)) / 1.05 - 1, rel=ROUND_OFF)


def test_prestress_fraction_of_threads_that_are_too_short(threads):
    """Cut just taut at a smaller angle, they are stretched to reach the plate."""
    body, family = threads("30 deg", slack="cut at 20 deg")
    ratio = np.cos(np.radians(20)) / np.cos(np.radians(30))  # of the helix to the thread
    at_rest = Evaluation(np.zeros_like(body.nodes))
    assert family.strain(at_rest) == pytest.approx(ratio - 1, rel=ROUND_OFF)
    family.set_prestress_fraction(0.0)
    assert family.strain(at_rest) == pytest.approx(0.0, abs=ROUND_OFF)
    family.set_prestress_fraction(0.5)
    assert 0.3 * (ratio - 1) < family.strain(at_rest).min()
    assert family.strain(at_rest).max() < 0.7 * (ratio - 1)
    family.set_prestress_fraction(1.0)
    assert family.strain(at_rest) == pytest.approx(ratio - 1, rel=ROUND_OFF)


def test_sliding_thread_has_the_mean_strain_of_the_bonded_one(threads):
    body, sliding = threads("20 deg", hold="sliding")
    _, bonded = threads("20 deg")
    at = Evaluation(perturbed(body, 1.3, 1.2, 2.0))
    for number in range(24 // body.sectors):
        own = bonded.thread == number
        mean = bonded.strain(at)[own] @ bonded.rest[own] / bonded.rest[own].sum()
        assert sliding.strain(at)[number] == pytest.approx(mean, rel=1e-9)
    tension = sliding.tension(at)
    assert len(tension) == len(bonded.tension(at))
    for number in range(24 // body.sectors):
        assert np.ptp(tension[sliding.thread == number]) == 0.0


@pytest.mark.parametrize("full", [False, True], ids=["sector", "full"])
@pytest.mark.parametrize("angle", ANGLES)
def test_strain_of_every_element_is_exact_for_uniform_stretch(threads, angle, full):
    body, family = threads(angle, full=full)
    radial, axial = 1.25, 0.9
    at = Evaluation(moved(body.nodes, radial, axial, 0.0) - body.nodes)
    sin, cos = np.sin(family.family.angle), np.cos(family.family.angle)
    # F is diagonal, and exact on a mesh of quadratic cells
    expected = np.hypot(radial * sin, axial * cos) - 1
    assert np.abs(family.strain(at) - expected).max() < ROUND_OFF


@pytest.mark.parametrize("full", [False, True], ids=["sector", "full"])
@pytest.mark.parametrize("angle", ANGLES)
def test_arm_of_every_element_for_uniform_strain(threads, angle, full):
    """r sin(psi), with tan(psi) = r (tan(alpha)/B + twist/L)/stretch on the radius r."""
    body, family = threads(angle, full=full)
    bulge, stretch, twist = 1.25, 0.9, -0.5
    at = Evaluation(moved(body.nodes, bulge, stretch, twist) - body.nodes)
    r = bulge * B
    psi = np.arctan2(r * (np.tan(family.family.angle) / B + twist / L), stretch)
    arm = family.segments(at).arm
    # the error of the twist in quadratic cells of 20 mm is about 1e-3
    assert arm == pytest.approx(r * np.sin(psi), rel=1e-2)
    assert np.abs(arm - r * np.sin(psi)).mean() < 3e-3 * abs(r * np.sin(psi))


@pytest.mark.parametrize("full", [False, True], ids=["sector", "full"])
@pytest.mark.parametrize("angle", ANGLES)
def test_segments_are_parts_of_the_helices(threads, angle, full):
    body, family = threads(angle, full=full)
    law = family.family
    thread, ends = family.thread, family.positions(Evaluation(np.zeros_like(body.nodes)))
    assert len(np.unique(thread)) == 24 // body.sectors
    for number in range(24 // body.sectors):
        own = thread == number
        assert family.rest[own].sum() == pytest.approx(L / np.cos(law.angle), rel=ROUND_OFF)
        assert close(ends[own][:-1, -1], ends[own][1:, 0], ROUND_OFF)  # consecutive
        z = ends[own][..., 2]
        assert (z[0, 0], z[-1, -1]) == pytest.approx((0.0, L), abs=1e-9)
        theta = 2 * np.pi * number / 24 + np.tan(law.angle) / B * z
        curve = np.stack([B * np.cos(theta), B * np.sin(theta), z], axis=-1)
        # a point outside the parabola of the mesh is located in its cell to 1e-12 of the cell
        assert np.abs(ends[own] - curve).max() < 1e-9


@pytest.mark.parametrize("angle", ["20 deg", "-30 deg", "70 deg"])
def test_segments_are_continuous_at_the_cut_faces(threads, make_case, make_model, angle):
    body, family = threads(angle)
    motion = make_model(make_case(), "1x1x3").motion
    q = np.random.default_rng(4).uniform(-0.3, 0.3, motion.size)
    q[-2:] = 3.0 * B, 4.0
    ends, thread = family.positions(Evaluation(motion.displacement(q))), family.thread
    on = thread[:-1] == thread[1:]
    assert close(ends[:-1, -1][on], ends[1:, 0][on], 1e-9)  # points are located by iteration
    assert on.sum() > body.cells.axial  # some segments end at a cut face


@pytest.mark.parametrize("angle", ANGLES)
def test_energy_of_a_sector_and_of_the_full_tube(threads, angle):
    energies = []
    for full in (False, True):
        body, family = threads(angle, full=full)
        at = Evaluation(moved(body.nodes, 1.2, 1.1, 2.0) - body.nodes)
        energies.append(body.sectors * family.energy(at))
    # both meshes have the same cells
    assert energies[0] == pytest.approx(energies[1], rel=1e-9)
