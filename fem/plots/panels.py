"""Panels of the picture of curves: their axes, and the part of the path that they show."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from fem.case.case import Case
from fem.core.units import ANGLE, LENGTH, MINUS, STRESS, show
from fem.quantities import table
from fem.results.run import Run
from fem.wording.run_sections import move_rows

PRESSURE, BULGE = table.pressure.column, table.bulge.column
TWIST, DISPLACEMENT = table.twist.column, table.displacement.column
FORCE, TORQUE = table.end_force.column, table.end_torque.column


class PathSection(NamedTuple):
    """A section of the path, shown in a row of panels.

    Attributes
    ----------
    heading
        What is done to the tube there; empty if obvious.
    x, ys
        Columns of the step table: x of all panels, and y of each.
    end
        Value of x that the panels must include.
    moved
        Whether it shows the move of the free end, or else the drive.
    """

    heading: str
    x: str
    ys: list[str]
    end: float
    moved: bool = False


def path_sections(
    case: Case, runs: Sequence[Run], columns: Sequence[str] = ()
) -> list[PathSection]:
    """Return the sections: the drive, its spring loads, and the move if it is reached.

    Where the free end is fixed, its load replaces its motion. `columns` replace all of these.
    """
    rotation = TORQUE if case.end.twist == "held" else TWIST
    translation = FORCE if case.end.axial == "held" else DISPLACEMENT
    end = case.pressure.end * 1e3 if case.pressure else 0.0
    sections = [PathSection("", PRESSURE, list(columns) or [rotation, translation, BULGE], end)]
    rates = {TORQUE: case.end.twist_spring, FORCE: case.end.axial_spring}
    if (sprung := [load for load, rate in rates.items() if rate]) and not columns:
        sections.append(PathSection("Loads on the free end", PRESSURE, sprung, end))
    if not case.move or not any(len(move_rows(run, case)) > 1 for run in runs):
        return sections
    if case.pressure:
        drive, constant, third = "Pressure raised", f"at {show(case.pressure.end, STRESS)}", BULGE
    elif case.volume:
        drive, constant, third = "Volume added", "at constant volume", PRESSURE
    else:
        drive, constant, third = "Air added", "with the air enclosed", PRESSURE
    if (target := case.move.displacement) is not None:
        x, ys, motion = DISPLACEMENT, [FORCE, rotation], f"along the axis to {show(target, LENGTH)}"
    else:
        angle = case.move.twist or 0.0
        x, ys, motion = TWIST, [TORQUE, translation], f"about the axis to {show(angle, ANGLE)}"
        target = float(np.degrees(angle))
    heading = f"Then the free end moved {motion.replace('-', MINUS)}, {constant}"
    move = PathSection(heading, x, list(columns) or [*ys, third], target, moved=True)
    return [sections[0]._replace(heading=drive), *sections[1:], move]
