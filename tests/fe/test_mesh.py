"""The mesh recipe and its cell counts."""

import dolfinx
import gmsh
import numpy as np
import pytest
import ufl
from scipy.spatial import KDTree

from fem.fe.mesh.body import (
    MIN_SPACINGS,
    RESOLUTIONS,
    ResolutionError,
    coarser,
    mesh_tube,
    resolve,
)
from meshes.tube import GROUPS, Cells, TubeShape, tube
from tests.helpers.messages import refused

HEXAHEDRON_27 = 12  # gmsh's number of the element type
A, B, L = 5.0, 6.5, 60.0


def meshed(case, resolution, sectors):
    return mesh_tube(case.tube, resolve(case, resolution, sectors), sectors)


def families(*counts):
    return [
        {"name": f"F{number}", "count": count, "angle": "20 deg", "stiffness": "200 N"}
        for number, count in enumerate(counts)
    ]


# --- the recipe -----------------------------------------------------------------------------

CELLS = [Cells(1, 1, 2), Cells(2, 3, 4)]


@pytest.mark.parametrize("cells", CELLS)
@pytest.mark.parametrize("sectors", [4, 12])
def test_sector_has_the_requested_cells_and_no_double_nodes(sectors, cells):
    with tube(TubeShape(A, B, L, sectors), cells) as model:
        types, tags, (corners,) = model.mesh.getElements(3)
    assert list(types) == [HEXAHEDRON_27]
    assert len(tags[0]) == cells.radial * cells.around * cells.axial
    assert len(set(corners)) == np.prod([2 * count + 1 for count in cells])


@pytest.mark.parametrize("cells", [Cells(1, 6, 2), Cells(2, 12, 3)])
def test_full_tube_has_the_requested_cells_and_no_double_nodes_at_the_seam(cells):
    with tube(TubeShape(A, B, L, 1), cells) as model:
        types, tags, (corners,) = model.mesh.getElements(3)
    assert list(types) == [HEXAHEDRON_27]
    assert len(tags[0]) == cells.radial * cells.around * cells.axial
    assert len(set(corners)) == (2 * cells.radial + 1) * 2 * cells.around * (2 * cells.axial + 1)


FACETS = {
    "base": lambda c: c.radial * c.around,
    "free end": lambda c: c.radial * c.around,
    "bore": lambda c: c.around * c.axial,
    "outer": lambda c: c.around * c.axial,
    "start cut": lambda c: c.radial * c.axial,
    "end cut": lambda c: c.radial * c.axial,
}


def lies_on(name, x, y, z, sectors):
    radius, theta = np.hypot(x, y), np.arctan2(y, x)
    return {
        "base": z,
        "free end": z - L,
        "bore": radius - A,
        "outer": radius - B,
        "start cut": theta,
        "end cut": theta - 2 * np.pi / sectors,
    }[name]


@pytest.mark.parametrize("cells", CELLS)
@pytest.mark.parametrize("sectors", [4, 12])
def test_each_face_of_a_sector_is_a_group(sectors, cells):
    with tube(TubeShape(A, B, L, sectors), cells) as model:
        groups = {
            model.getPhysicalName(dimension, tag): (dimension, tag)
            for dimension, tag in model.getPhysicalGroups()
        }
        assert groups.pop("wall") == (3, GROUPS["wall"])
        assert groups == {name: (2, GROUPS[name]) for name in FACETS}
        for name, count in FACETS.items():
            entities = model.getEntitiesForPhysicalGroup(2, GROUPS[name])
            facets = sum(len(model.mesh.getElements(2, e)[1][0]) for e in entities)
            assert facets == count(cells), name
            _, xyz = model.mesh.getNodesForPhysicalGroup(2, GROUPS[name])
            away = lies_on(name, *xyz.reshape(-1, 3).T, sectors)
            assert np.abs(away).max() < 1e-9, name  # gmsh places nodes to round-off


def test_full_tube_has_no_cut_faces():
    with tube(TubeShape(A, B, L, 1), Cells(1, 6, 2)) as model:
        names = {model.getPhysicalName(*group) for group in model.getPhysicalGroups()}
    assert names == {"wall", "base", "free end", "bore", "outer"}


def test_gmsh_is_finalised_after_an_error():
    with pytest.raises(RuntimeError, match="on purpose"), tube(TubeShape(A, B, L, 4), CELLS[0]):
        raise RuntimeError("on purpose")
    assert not gmsh.isInitialized()


# --- the body -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def case(make_case):
    return make_case()


@pytest.mark.parametrize(("resolution", "sectors"), [("1x1x2", 12), ("2x2x3", 12), ("1x2x2", 4)])
def test_nodes_of_cut_faces_match(case, resolution, sectors):
    body = meshed(case, resolution, sectors)
    start, end = (body.nodes[body.on(name)] for name in ("start cut", "end cut"))
    angle = 2 * np.pi / sectors
    rotation = np.array(
        [[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]]
    )
    distance, match = KDTree(start @ rotation.T).query(end)
    assert distance.max() < 1e-9  # gmsh places nodes to round-off
    assert sorted(match) == list(range(len(start)))


def test_full_tube_is_closed(case):
    """Every face that belongs to one cell only is on the bore, outside, or at an end."""
    body = meshed(case, "1x1x2", 1)
    body.mesh.topology.create_connectivity(2, 3)
    alone = dolfinx.mesh.exterior_facet_indices(body.mesh.topology)
    named = [body.facets.find(GROUPS[name]) for name in ("base", "free end", "bore", "outer")]
    assert sorted(alone) == sorted(np.concatenate(named))
    assert len(body.facets.find(GROUPS["start cut"])) == 0


def volume(body):
    area = ufl.dx(body.mesh, metadata={"quadrature_degree": 6})
    one = dolfinx.fem.Constant(body.mesh, 1.0)
    return body.sectors * dolfinx.fem.assemble_scalar(dolfinx.fem.form(one * area))


@pytest.mark.parametrize("sectors", [1, 4])
def test_volume_converges_to_that_of_the_tube(case, sectors):
    exact = np.pi * (B**2 - A**2) * L
    arcs = np.array([1, 2, 4])  # to one of 12 threads
    errors = [1 - volume(meshed(case, f"1x{n}x2", sectors)) / exact for n in arcs]
    # A parabola through three points of an arc of angle t encloses t^4 / 480 less than the arc, as
    # a share of the sector (derived here by expansion of both areas).
    expected = (2 * np.pi / 12 / arcs) ** 4 / 480
    assert errors == pytest.approx(expected, rel=0.02)  # the next term is smaller by t^2 / 15


def test_all_jacobians_of_a_cell_have_the_same_sign(case):
    for sectors in (1, 12):
        body = meshed(case, "2x1x2", sectors)
        points = np.array([[x, y, z] for x in (0.1, 0.9) for y in (0.1, 0.9) for z in (0.1, 0.9)])
        jacobian = dolfinx.fem.Expression(ufl.JacobianDeterminant(body.mesh), points)
        cells = np.arange(len(body.connectivity), dtype=np.int32)
        determinants = jacobian.eval(body.mesh, cells)
        share = np.pi * (B**2 - A**2) * L / (body.sectors * len(cells))
        assert np.all(np.sign(determinants) == np.sign(determinants[:, :1]))
        # radii in a cell differ by up to 11 % from the mean; along an arc of 30 degrees the speed
        # of the parabola varies by as much again
        assert np.abs(np.abs(determinants) / share - 1).max() < 0.25


def test_connectivity_contains_all_quadratic_nodes(case):
    body = meshed(case, "1x1x2", 12)
    assert body.connectivity.shape == (2, 27)
    assert set(body.connectivity.ravel()) == set(range(len(body.nodes))) == set(range(3 * 3 * 5))
    radius = np.hypot(body.nodes[:, 0], body.nodes[:, 1])
    assert set(np.round(radius, 9)) == {5.0, 5.75, 6.5}
    assert set(np.round(body.nodes[:, 2], 9)) == {0.0, 15.0, 30.0, 45.0, 60.0}


# --- the resolution -------------------------------------------------------------------------


@pytest.mark.parametrize("name", RESOLUTIONS)
def test_named_resolutions_of_the_ready_tube(case, name):
    assert resolve(case, name, case.sectors) == RESOLUTIONS[name]


def test_named_resolutions_refine_in_every_direction():
    coarse, standard, fine = (RESOLUTIONS[name] for name in ("coarse", "standard", "fine"))
    assert all(a <= b <= c for a, b, c in zip(coarse, standard, fine, strict=True))
    assert coarse < standard < fine


@pytest.mark.parametrize("length", [30, 60, 120, 180])
def test_cells_along_the_axis_follow_the_slenderness(make_case, length):
    case = make_case(tube__length=f"{length} mm")
    assert resolve(case, "coarse", 12).axial == 20 * length / 60
    thick = make_case(tube={"bore_radius": "10 mm", "wall": "3 mm", "length": f"{2 * length} mm"})
    assert resolve(thick, "coarse", 12) == resolve(case, "coarse", 12)


def test_short_tube_keeps_two_cells_along_the_axis(make_case):
    assert resolve(make_case(tube__length="1 mm"), "coarse", 12).axial == 2


@pytest.mark.parametrize(
    ("counts", "sectors", "coarse", "standard"),
    [
        ((12, 12), 12, 1, 3),  # one thread spacing in the sector
        ((12, 24), 12, 1, 6),  # two spacings of the denser family, in one cell on the coarse mesh
        ((12, 18), 6, 2, 9),
        ((6,), 6, 2, 6),  # as if there were FEWEST_AROUND threads
        ((1,), 1, 12, 36),
        ((), 12, 1, 3),
    ],
)
def test_cells_around_the_body_follow_the_thread_spacing(
    make_case, counts, sectors, coarse, standard
):
    case = make_case(threads=families(*counts))
    assert case.sectors == sectors
    for name, around in (("coarse", coarse), ("standard", standard)):
        assert resolve(case, name, sectors).around == around
        full = resolve(case, name, 1).around
        assert full == sectors * around
        assert full >= MIN_SPACINGS


@pytest.mark.parametrize(
    ("text", "halved"),
    [("2x4x80", "1x2x40"), ("1x3x40", "1x2x20"), ("3x2x5", "2x1x3"), ("fine", "1x2x40")],
)
def test_coarser_mesh_has_cells_of_twice_the_size(case, text, halved):
    assert coarser(case, text) == halved


@pytest.mark.parametrize("text", ["1x1x1", "medium"])
def test_mesh_that_cannot_be_coarser_is_refused(case, text):
    with refused(ResolutionError, text):
        coarser(case, text)


def test_coarser_mesh_with_too_few_cells_around_is_refused(make_case):
    """One or two cells around the full tube are not possible."""
    with refused(ResolutionError, "1x4x8"):
        coarser(make_case(threads=families(1)), "1x4x8")


@pytest.mark.parametrize(
    ("text", "cells"),
    [("1x2x20", (1, 2, 20)), ("3x1x7", (3, 1, 7)), ("10x20x1000", (10, 20, 1000))],
)
def test_counts_are_for_one_equal_sector(case, text, cells):
    radial, around, axial = cells
    assert resolve(case, text, 12) == cells
    assert resolve(case, text, 1) == (radial, 12 * around, axial)
    assert resolve(case, text, 4) == (radial, 3 * around, axial)


@pytest.mark.parametrize(
    "text",
    [
        *("medium", "Coarse", "", "1x2", "1x2x3x4", "0x1x1", "1x2x0", "-1x2x3", "1 x 2 x 3"),
        *("1x2x3 ", "1X2X3", "1.5x2x3", "1x2x99999", "axbxc", "١x٢x٣", "1x2x3\n"),
    ],
    ids=repr,
)
def test_unknown_resolution_is_refused_and_the_allowed_ones_named(case, text):
    with refused(ResolutionError, f'resolution "{text}"', "coarse, standard, fine", '"1x2x20"'):
        resolve(case, text, 12)


@pytest.mark.parametrize(("count", "text"), [(1, "1x1x2"), (1, "1x2x2"), (2, "1x1x2")])
def test_too_few_cells_around_the_tube_are_refused(make_case, count, text):
    """One or two cells would have arcs of 180 deg or more, whose midpoint is ambiguous."""
    case = make_case(threads=families(count))
    with pytest.raises(ResolutionError):
        meshed(case, text, case.sectors)


@pytest.mark.parametrize("size", [{"tube__wall": "1e-6 mm"}, {"tube__length": "1e-3 mm"}])
def test_tube_too_thin_for_the_mesher_is_refused(make_case, size):
    """The mesher would merge its points, and the invalid mesh would crash the process."""
    case = make_case(**size)
    with refused(ResolutionError, "wall and length", "at least", "mm"):
        meshed(case, "1x2x2", case.sectors)
