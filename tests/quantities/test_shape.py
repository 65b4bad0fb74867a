"""The data of a shape for other programs."""

import numpy as np
import pytest

from fem.quantities.shape import WALL, whole_tube


@pytest.fixture(scope="module")
def shape(result):
    return result.shapes[2]


def test_points_have_the_stretch_and_cells_the_tension(shape, result):
    grid = whole_tube(shape)
    wall = grid.cell_data["part"] == WALL
    assert set(grid.point_data) == {"displacement", "stretch"}
    assert set(grid.cell_data) == {"part", "tension_N"}
    nodes = shape.sectors * len(shape.nodes)
    stretch = grid.point_data["stretch"]
    assert np.isfinite(stretch[:nodes]).all()
    assert np.isnan(stretch[nodes:]).all(), "points of threads"
    assert np.isnan(grid.cell_data["tension_N"][wall]).all()
    assert not np.isnan(grid.cell_data["tension_N"][~wall]).any()
    at_rest = grid.points[:nodes] - grid.point_data["displacement"][:nodes]
    bore = np.hypot(*at_rest[:, :2].T) < result.case.tube.bore_radius + 1e-4
    middle = bore & (np.abs(at_rest[:, 2] - 30) < 1e-3)
    row = result.runs[0].rows[2]
    # the twist adds shear to the hoop stretch of the bore
    assert stretch[:nodes][middle] == pytest.approx(row["bore_stretch"], rel=0.02)
