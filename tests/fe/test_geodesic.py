"""Shortest paths of threads: the angles of a geodesic, and its position on the tube."""

import numpy as np
import pytest
from scipy.optimize import brentq

from fem.case.thread_family import ThreadFamily
from fem.fe.mesh.outer_face import OuterFace
from fem.fe.part import Evaluation
from fem.fe.threads.family import EmbeddedFamily
from fem.fe.threads.geodesic import quarter_turn, tan_psi
from tests.helpers.displaced import ROUND_OFF, B, L, close, moved


@pytest.fixture(scope="module")
def family(make_case, make_model):
    """Return a function that puts threads into a twelfth of the tube, or into the full tube."""

    def build(angle, hold="geodesic", full=False):
        body = make_model(make_case(), "1x1x6", full).body
        law = ThreadFamily(name="A", count=24, angle=angle, stiffness="200 N", hold=hold)
        return body, EmbeddedFamily(law, OuterFace(body, B))

    return build


def barrelled(nodes, bulge, twist=0.0, at=0.5):
    """Return a barrel (bulge > 0) or a waist, with its extreme radius at the fraction `at` of L."""
    fraction = np.clip(nodes[:, 2] / L, 0.0, 1.0)
    wave = np.sin(np.pi * fraction ** (np.log(0.5) / np.log(at)))
    angle, scale = twist * fraction, 1 + bulge * wave
    cos, sin = scale * np.cos(angle), scale * np.sin(angle)
    x, y, z = nodes.T
    return Evaluation(np.column_stack([cos * x - sin * y, sin * x + cos * y, z]) - nodes)


@pytest.mark.parametrize("winding", [-7.0, -0.3, 0.0, 1e-9, 2.0, 40.0, 300.0])
def test_geodesic_has_the_requested_winding(winding):
    """Also where it is almost normal to the axis at the smallest radius."""
    rng = np.random.default_rng(3)
    weights, radius = rng.uniform(0.1, 0.4, (12, 3)), rng.uniform(4, 9, (12, 3))
    meridian, thread = rng.uniform(0.8, 1.2, (12, 3)), np.repeat([0, 1], 6)
    windings = np.array([winding, 1.0])
    tan = tan_psi(weights, radius, meridian, windings, thread)
    wound = np.bincount(thread, (weights * meridian * tan / radius).sum(axis=1))
    assert wound == pytest.approx(windings, rel=1e-12)
    constant = radius * tan / np.sqrt(1 + tan**2)
    for number in (0, 1):
        assert np.ptp(constant[thread == number]) <= 1e-12 * radius.max()


def test_angles_agree_with_a_root_search():
    weights, radius = np.full((5, 3), 0.5), np.linspace(5, 8, 15).reshape(5, 3)
    meridian, thread = np.ones((5, 3)), np.zeros(5, dtype=int)

    def wound(c):
        return (weights * c / (radius * np.sqrt(radius**2 - c**2))).sum() - 1.5

    c = brentq(wound, 0, 5 * (1 - 1e-12), xtol=1e-14)
    tan = tan_psi(weights, radius, meridian, np.array([1.5]), thread)
    assert tan == pytest.approx(c / np.sqrt(radius**2 - c**2), rel=1e-9)


def test_quarter_turn_is_the_product_with_the_axis():
    v = np.array([[1.0, 2.0, 3.0], [-4.0, 5.0, 6.0]])
    assert np.array_equal(quarter_turn(v), np.cross([0.0, 0.0, 1.0], v))


@pytest.mark.parametrize("angle", ["0 deg", "20 deg", "-30 deg", "70 deg"])
def test_threads_stay_on_their_helices_on_a_cylinder(family, angle):
    """A helix is a geodesic of a cylinder."""
    (body, geodesic), (_, sliding) = family(angle), family(angle, "sliding")
    for positions in (body.nodes, moved(body.nodes, 1.3, 1.2, 0.0)):
        at = Evaluation(positions - body.nodes)
        # points are located in cells by iteration
        assert np.abs(geodesic.kinematics(at).off_helix).max() < 1e-9
        assert geodesic.strain(at) == pytest.approx(sliding.strain(at), abs=ROUND_OFF)


@pytest.mark.parametrize("bulge", [0.3, -0.3])
@pytest.mark.parametrize("angle", ["20 deg", "-30 deg", "70 deg"])
def test_geodesic_is_shorter_and_its_anchors_are_fixed(family, angle, bulge):
    (body, geodesic), (_, sliding) = family(angle), family(angle, "sliding")
    at = barrelled(body.nodes, bulge, twist=0.5)
    assert (geodesic.strain(at) < sliding.strain(at) - 1e-4).all()
    angle_off = geodesic.kinematics(at).off_helix
    for number in range(24 // body.sectors):
        own = angle_off[geodesic.thread == number]
        assert own[0, 0] == pytest.approx(0.0, abs=1e-12)
        assert own[-1, 1] == pytest.approx(0.0, abs=1e-12)
        assert np.abs(own).max() > 1e-3


def test_thread_winds_more_where_the_tube_is_narrow(family):
    """The barrel has its largest radius at a quarter of the length; the thread winds beyond it."""
    body, geodesic = family("30 deg")
    first = geodesic.thread == 0
    angle_off = geodesic.kinematics(barrelled(body.nodes, 0.3, at=0.25)).off_helix[first, 1]
    middle = np.argmin(np.abs(geodesic.z[first, 1] - L / 2))
    assert angle_off[middle] < -1e-2


@pytest.mark.parametrize("angle", ["20 deg", "-30 deg", "70 deg"])
def test_geodesic_is_the_same_in_a_sector_and_in_the_full_tube(family, angle):
    energies, positions = [], []
    for full in (False, True):
        body, geodesic = family(angle, full=full)
        at = barrelled(body.nodes, 0.3, twist=1.0)
        energies.append(body.sectors * geodesic.energy(at))
        positions.append(geodesic.positions(at)[geodesic.thread == 0])
    assert energies[0] == pytest.approx(energies[1], rel=1e-9)
    assert close(positions[0], positions[1], 1e-9)
    assert close(positions[0][:-1, -1], positions[0][1:, 0], 1e-9)  # consecutive
