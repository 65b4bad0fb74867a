"""The straight tube of a row of the step table: volume, dimensions, twist, threads."""

import math

import numpy as np
import pytest
import pyvista

from fem.fast.model import FastModel
from fem.fast.shape import _motion, uniform_shape
from fem.quantities.shape import LATTICE, whole_tube
from fem.solving.single import solve


@pytest.fixture(scope="module")
def case(make_case):
    return make_case(threads__1__slack="2 %", threads__0__ring_turn="200 deg", pressure__steps=2)


@pytest.fixture(scope="module")
def run(case):
    (run,) = solve(case, "fast").runs
    return run


def lengths(pieces, count):
    """Return the length of each of the threads."""
    return np.linalg.norm(np.diff(pieces, axis=1)[:, 0], axis=1).reshape(count, -1).sum(axis=1)


def polar(points):
    return (
        np.hypot(points[:, 0], points[:, 1]),
        np.arctan2(points[:, 1], points[:, 0]),
        points[:, 2],
    )


def test_lattice_agrees_with_vtk():
    ours = LATTICE / 2
    from vtkmodules.vtkCommonDataModel import vtkTriQuadraticHexahedron

    parametric = vtkTriQuadraticHexahedron().GetParametricCoords()
    assert ours.ravel().tolist() == [parametric[i] for i in range(81)]


def test_volume_of_the_wall_is_constant(run, case):
    """Incompressible: by VTK's quadrature of the cells, and by pi (b^2 - a^2) lambda L."""
    tube = case.tube
    exact = math.pi * (tube.outer_radius**2 - tube.bore_radius**2) * tube.length
    for row in run.rows:
        shape = uniform_shape(case, row)
        positions = shape.nodes + shape.displacement
        radius = np.hypot(positions[:, 0], positions[:, 1])
        section = math.pi * (radius.max() ** 2 - radius.min() ** 2)
        assert section * positions[:, 2].max() == pytest.approx(exact, rel=1e-12)


def test_dimensions_agree_with_the_row(run, case):
    row = run.rows[-1]
    shape = uniform_shape(case, row)
    radius, angle, height = polar(shape.nodes + shape.displacement)
    assert radius.min() == pytest.approx(row["bore_stretch"] * case.tube.bore_radius)
    assert radius.max() == pytest.approx(row["mid_radius_mm"])
    assert radius.max() - case.tube.outer_radius == pytest.approx(row["bulge_mm"])
    assert height.max() == pytest.approx(row["stretch"] * case.tube.length)
    assert height.max() - case.tube.length == pytest.approx(row["displacement_mm"])
    top = height == height.max()
    twist = angle[top] - polar(shape.nodes)[1][top]
    expected = np.exp(1j * math.radians(row["twist_deg"]))
    assert abs(row["twist_deg"]) > 5
    assert np.abs(np.exp(1j * twist) - expected).max() < 1e-9
    assert shape.stretch.max() == pytest.approx(row["wall_stretch_max"], rel=1e-9)
    assert shape.pressure == pytest.approx(0.015)


@pytest.mark.parametrize(
    "change",
    [
        {},
        {"twist_deg": 90.0, "stretch": 0.9},
        {"twist_deg": 0.0, "stretch": 0.3, "bore_stretch": 1.0},  # most stretched across the wall
        {"twist_deg": -200.0},
    ],
)
def test_stretch_at_the_nodes_agrees_with_the_motion(run, case, change):
    """By differences of the motion along R, Theta and Z, and LAPACK's singular values."""
    row = {**run.rows[-1], **change}
    shape = uniform_shape(case, row)
    radius, angle, height = polar(shape.nodes)
    motion, step = _motion(case.tube, row), 1e-4
    moves = [(step, 0.0, 0.0), (0.0, step / radius, 0.0), (0.0, 0.0, step)]
    columns = [
        (motion(radius + r, angle + a, height + h) - motion(radius - r, angle - a, height - h))
        / (2 * step)
        for r, a, h in moves
    ]
    exact = np.linalg.norm(np.stack(columns, axis=-1), ord=2, axis=(1, 2))
    assert shape.stretch == pytest.approx(exact, rel=1e-7)


def test_bore_is_stretched_more_than_the_outer_face(run, case):
    """Inflated without twist, the stretch at each radius is the larger of r / R and lambda."""
    row = {**run.rows[-1], "twist_deg": 0.0}
    shape = uniform_shape(case, row)
    at_rest, now = (
        np.hypot(*positions[:, :2].T)
        for positions in (shape.nodes, shape.nodes + shape.displacement)
    )
    assert shape.stretch == pytest.approx(np.maximum(now / at_rest, row["stretch"]), rel=1e-12)
    bore = at_rest < case.tube.bore_radius + 1e-6
    assert shape.stretch[bore].min() > shape.stretch[~bore].max()


def test_shape_of_the_row_at_rest(run, case):
    shape = uniform_shape(case, run.rows[0])
    assert shape.displacement == pytest.approx(0 * shape.nodes, abs=1e-12)
    assert shape.stretch == pytest.approx(1.0, rel=1e-12)
    grid = whole_tube(shape)
    assert grid.n_cells == len(shape.connectivity) + sum(len(t.tension) for t in shape.threads)


def test_cells_fill_the_wall_without_gaps(run, case):
    """The volumes of the cells are positive, and their sum is almost exact."""
    shape = uniform_shape(case, run.rows[-1])
    corners = (shape.nodes + shape.displacement)[shape.connectivity[:, :8]]
    hexahedra = pyvista.UnstructuredGrid(
        {pyvista.CellType.HEXAHEDRON: np.arange(corners.shape[0] * 8).reshape(-1, 8)},
        corners.reshape(-1, 3),
    )
    volumes = hexahedra.compute_cell_sizes()["Volume"]
    tube = case.tube
    exact = math.pi * (tube.outer_radius**2 - tube.bore_radius**2) * tube.length
    assert volumes.min() > 0
    # flat faces: the section of a polygon with 24 corners is sin(x)/x of that of the ring, with
    # x = 15 deg; the rest comes from the twist between corners
    x = 2 * math.pi / 24
    assert volumes.sum() == pytest.approx(exact * math.sin(x) / x, rel=5e-3)


def test_lengths_of_threads_agree_with_the_row(run, case):
    for row in run.rows:
        shape = uniform_shape(case, row)
        for family, curves in zip(case.threads, shape.threads, strict=True):
            natural = row[f"thread_length_mm.{family.name}"]
            # pieces of 10 deg are shorter than their arcs by 1 - x^2 / 24 at most
            chord = {"rel": 1.3e-3}
            at_rest = lengths(curves.rest, family.count)
            assert at_rest == pytest.approx(natural / (1 + family.slack_strain), **chord)
            now = natural * (1 + row[f"thread_strain.{family.name}"])
            assert lengths(curves.ends, family.count) == pytest.approx(now, **chord)
            assert set(curves.tension) == {row[f"tension_N.{family.name}"]}


def test_volume_agrees_with_the_model(run, case):
    """Volume of the model at its state, compared with that of the bore of the shape."""
    row = run.rows[-1]
    model = FastModel(case)
    twist = math.radians(row["twist_deg"]) * case.tube.outer_radius
    x = np.array([(row["bore_stretch"] - 1) * case.tube.bore_radius, twist, row["displacement_mm"]])
    radius, _, height = polar(
        uniform_shape(case, row).nodes + uniform_shape(case, row).displacement
    )
    volume = math.pi * radius.min() ** 2 * height.max()
    assert volume == pytest.approx(model.conjugate_displacements(x)[0], rel=1e-12)
    assert volume == pytest.approx(row["volume_mm3"], rel=1e-9)


def test_very_short_and_very_long_tube_without_threads(make_case):
    for length in ("2 mm", "3 m"):
        case = make_case(threads=[], tube__length=length, pressure={"end": "1 kPa", "steps": 1})
        shape = uniform_shape(case, solve(case, "fast").rows[-1])
        assert shape.threads == []
        assert 100 < len(shape.connectivity) < 3000
