"""The stretch at the nodes: motions of known stretch, cut faces, solved tubes."""

import math

import numpy as np
import pytest

from fem.quantities.shape import turned
from fem.solving.single import solve
from tests.helpers.displaced import ROUND_OFF


def radii(shape):
    """Return the radii of the nodes at rest and displaced, and which of them are at half length."""
    rest, now = shape.nodes, shape.nodes + shape.displacement
    middle = np.abs(rest[:, 2] - rest[:, 2].max() / 2) < 1e-6
    return np.hypot(*rest[:, :2].T), np.hypot(*now[:, :2].T), middle


def test_homogeneous_deformation_is_exact(make_case, make_model):
    """The reference is the largest singular value of F, by LAPACK."""
    F = np.array([[1.3, 0.2, -0.1], [-0.1, 0.9, 0.3], [0.05, -0.2, 1.1]])
    tube = make_model(make_case(), "1x1x2", full=True).tube
    nodes = tube.body.nodes
    found = tube.nodal_stretch.at(nodes @ F.T - nodes)
    assert found == pytest.approx(np.linalg.norm(F, ord=2), rel=ROUND_OFF)
    assert tube.nodal_stretch.at(0 * nodes) == pytest.approx(1.0, rel=ROUND_OFF)


def uniform(nodes, bore, stretch, tau):
    """Return nodes of the ready tube inflated, stretched and twisted, and their stretch.

    Rivlin's kinematics (Phil. Trans. R. Soc. A 242, 173, 1949; from memory): F has R/(r lambda),
    r/R and lambda on its diagonal, and r tau for the twist along the axis.
    """
    R, angle = np.hypot(*nodes[:, :2].T), np.arctan2(nodes[:, 1], nodes[:, 0])
    r = np.sqrt(bore**2 + (R**2 - 5.0**2) / stretch)
    F = np.zeros((len(nodes), 3, 3))
    F[:, 0, 0], F[:, 1, 1], F[:, 1, 2], F[:, 2, 2] = R / (r * stretch), r / R, r * tau, stretch
    turned = angle + tau * nodes[:, 2]
    now = np.column_stack([r * np.cos(turned), r * np.sin(turned), stretch * nodes[:, 2]])
    return now, np.linalg.norm(F, ord=2, axis=(1, 2))


@pytest.mark.parametrize("state", [(7.0, 1.1, 0.0), (6.0, 1.2, 0.03), (5.0, 1.0, -0.05)])
def test_error_of_a_uniform_motion_decreases_with_the_mesh_size(make_case, make_model, state):
    """It is small on the faces; inside, where edges are chords, it is of second order.

    Half the mesh size reduces it to a quarter, on coarse meshes somewhat less.
    """
    worst = []
    for mesh in ("2x2x20", "4x4x40"):
        tube = make_model(make_case(), mesh).tube
        now, exact = uniform(tube.body.nodes, *state)
        error = np.abs(tube.nodal_stretch.at(now - tube.body.nodes) / exact - 1)
        R = np.hypot(*tube.body.nodes[:, :2].T)
        assert error[np.minimum(np.abs(R - 5.0), np.abs(R - 6.5)) < 1e-6].max() < 1e-3
        worst.append(error.max())
    assert worst[0] < 0.01
    assert worst[1] < worst[0] / 3


def test_stretch_agrees_on_the_cut_faces_of_a_sector(result):
    """On the full tube, nodes at the same position: cut faces have those of two sectors."""
    shape = result.shapes[2]
    rest = np.round(turned(shape.nodes, shape.sectors), 6)
    stretch = np.tile(shape.stretch, shape.sectors)
    _, index, count = np.unique(rest + 0.0, axis=0, return_inverse=True, return_counts=True)
    mean = np.bincount(index.ravel(), stretch) / count
    assert (count == 2).sum() >= 12 * 3 * 13 / 2
    assert stretch == pytest.approx(mean[index.ravel()], rel=1e-9)


def test_stretch_agrees_in_a_sector_and_the_full_tube(make_case, make_model):
    of = {}
    for name in ("sector", "full"):
        model = make_model(make_case(), "1x1x4", full=name == "full")
        nodes = model.body.nodes
        angle = 12 * np.arctan2(nodes[:, 1], nodes[:, 0])  # with the symmetry of twelve sectors
        bulge = 1 + 0.01 * nodes[:, 2] * (60 - nodes[:, 2]) / 900 * (1 + 0.3 * np.cos(angle))
        now = nodes * np.column_stack([bulge, bulge, np.ones(len(nodes))])
        positions = np.column_stack([np.hypot(*nodes[:, :2].T), nodes[:, 2], np.cos(angle)])
        of[name] = positions, model.tube.nodal_stretch.at(now - nodes)
    (there, values), (here, others) = of["full"], of["sector"]
    apart = np.linalg.norm(there[:, None] - here[None], axis=2)
    assert apart.min(axis=1).max() < 1e-6
    assert values == pytest.approx(others[apart.argmin(axis=1)], rel=1e-8)


@pytest.fixture(scope="module")
def bare(make_case):
    """Return a closed tube without threads; its ends have little influence at half length."""
    return make_case(threads=[], pressure={"end": "8 kPa", "steps": 1})


@pytest.mark.parametrize("mesh", ["standard", pytest.param("fine", marks=pytest.mark.slow)])
def test_stretch_of_a_bare_tube_agrees_with_its_radii(bare, mesh):
    """In the plane of symmetry the largest stretch is the hoop stretch r / R.

    The tolerance is a thousandth of the strain, since the mesh is not exactly round.
    """
    run = solve(bare, ["fe"], mesh).runs[0]
    R, r, middle = radii(run.shapes[-1])
    stretch, tube = run.shapes[-1].stretch, bare.tube
    fast = solve(bare, "fast").runs[0].rows[-1]
    a, lam = fast["bore_stretch"] * tube.bore_radius, fast["stretch"]
    for face in (tube.bore_radius, tube.outer_radius):
        on = middle & (np.abs(R - face) < 1e-6)
        hoop = (r / R)[on].mean()
        assert stretch[on] == pytest.approx(hoop, abs=1e-3 * (hoop - 1))
        # also as in a long tube: the ends change the strain here by 2e-3 of it
        long = math.sqrt(a**2 + (face**2 - tube.bore_radius**2) / lam) / face
        assert hoop == pytest.approx(long, abs=3e-3 * (long - 1))
    inside, outside = (stretch[middle & (np.abs(R - face) < 1e-6)].mean() for face in (5.0, 6.5))
    assert inside - 1 > 1.5 * (outside - 1)  # decreasing through the wall
