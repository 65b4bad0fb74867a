r"""The shape of the tube of the fast model, from a row of the step table.

The tube stays straight and round, so bore stretch, axial stretch and twist describe it completely
(:mod:`fem.fast.kinematics`). The row may be of a run, a study or a setting of the explorer.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from fem.case.case import Case
from fem.case.thread_family import ThreadFamily
from fem.case.tube import Tube
from fem.core.arrays import Array, Index
from fem.fast.kinematics import components, squared_radius
from fem.quantities import table
from fem.quantities.shape import LATTICE, Shape, ThreadCurves, polar_points

CELLS_AROUND = 24
"""Cells around the tube."""

CELL_ASPECT = 2
"""Approximate length of a cell over its width."""

MAX_PIECE_ANGLE = math.radians(10)
"""Largest winding angle of a straight piece of a thread at rest."""

type Motion = Callable[[Array, Array, Array], Array]
"""From polar positions at rest (mm, rad, mm), shapes (...), to positions, shape (..., 3), mm."""


def uniform_shape(case: Case, row: Mapping[str, Any]) -> Shape:
    """Return the shape of the straight tube in the state of a row of the step table.

    Parameters
    ----------
    case
        The tube and its threads.
    row
        The columns stretch, twist_deg, bore_stretch, pressure_kPa, and tension_N of each family.
    """
    tube = case.tube
    axial = _axial_cells(tube)
    positions, connectivity = _grid(tube, axial)
    now = _motion(tube, row)
    nodes = polar_points(*positions)
    return Shape(
        pressure=row[table.pressure.column] / 1000,
        sectors=1,
        nodes=nodes,
        displacement=now(*positions) - nodes,
        connectivity=connectivity,
        stretch=components(positions[0] ** 2, *_state(tube, row)).largest_stretch,
        threads=[
            _curves(family, tube, 2 * axial, now, row[f"tension_N.{family.name}"])
            for family in case.threads
        ],
    )


def _state(tube: Tube, row: Mapping[str, Any]) -> tuple[float, float, float]:
    """Return nu (mm2), lambda and tau (rad/mm) of a row."""
    stretch, bore = row["stretch"], row["bore_stretch"] * tube.bore_radius
    nu = bore**2 * stretch - tube.bore_radius**2
    return nu, stretch, math.radians(row[table.twist.column]) / tube.length


def _motion(tube: Tube, row: Mapping[str, Any]) -> Motion:
    """Return the motion to the state of a row."""
    nu, stretch, twist = _state(tube, row)

    def move(radius: Array, angle: Array, height: Array) -> Array:
        current = np.sqrt(squared_radius(radius**2, nu, stretch))
        return polar_points(current, angle + twist * height, stretch * height)

    return move


def _axial_cells(tube: Tube) -> int:
    """Return the number of cells along the tube."""
    width = 2 * math.pi * tube.outer_radius / CELLS_AROUND
    return min(max(round(tube.length / (CELL_ASPECT * width)), 8), 100)


def _grid(tube: Tube, axial: int) -> tuple[tuple[Array, Array, Array], Index]:
    """Return radius, azimuth and height of the nodes at rest, and the nodes of each cell."""
    counts = (3, 2 * CELLS_AROUND, 2 * axial + 1)
    positions = np.meshgrid(
        np.linspace(tube.bore_radius, tube.outer_radius, counts[0]),
        2 * np.pi * np.arange(counts[1]) / counts[1],
        np.linspace(0.0, tube.length, counts[2]),
        indexing="ij",
    )
    radius, angle, height = (part.ravel() for part in positions)
    first = 2 * np.stack(np.meshgrid([0], np.arange(CELLS_AROUND), np.arange(axial)), -1).reshape(
        -1, 1, 3
    )
    i, j, k = np.moveaxis(first + LATTICE, -1, 0)
    cells = np.ravel_multi_index((i, j % counts[1], k), counts)
    return (radius, angle, height), cells


def _curves(
    family: ThreadFamily, tube: Tube, least: int, now: Motion, tension: float
) -> ThreadCurves:
    """Return the threads of a family in equal pieces, at least `least` per thread."""
    rate = family.helix(tube).turn_rate
    pieces = max(least, math.ceil(abs(rate) * tube.length / MAX_PIECE_ANGLE))
    height = np.linspace(0.0, tube.length, pieces + 1)
    start = 2 * np.pi * np.arange(family.count)[:, None] / family.count
    positions = np.broadcast_arrays(tube.outer_radius, start + rate * height, height)
    at_rest, ends = (
        np.stack([curve[:, :-1], curve[:, 1:]], axis=2).reshape(-1, 2, 3)
        for curve in (polar_points(*positions), now(*positions))
    )
    return ThreadCurves(family.name, at_rest, ends, np.full(len(ends), float(tension)))
