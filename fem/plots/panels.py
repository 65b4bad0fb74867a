"""Which panels the picture of the curves has: what against what, and for which part of the path."""

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


class Strip(NamedTuple):
    """Panels side by side on one part of the path.

    Attributes
    ----------
    heading
        What is done to the tube there; empty where it goes without saying.
    across, ups
        Columns of the step table: across all panels, and up each of them.
    end
        How far the panels must reach across, 0 for no farther than the curves.
    moved
        Whether it is the move of the free end, or else the drive.
    """

    heading: str
    across: str
    ups: list[str]
    end: float
    moved: bool = False


def strips(case: Case, runs: Sequence[Run]) -> list[Strip]:
    """Return the strips from above: the drive, what springs do in it, the move if it is reached.

    Where the free end is held, its load takes the place of its motion.
    """
    turn = TORQUE if case.end.twist == "held" else TWIST
    shift = FORCE if case.end.axial == "held" else DISPLACEMENT
    end = case.pressure.end * 1e3 if case.pressure else 0.0
    shown = [Strip("", PRESSURE, [turn, shift, BULGE], end)]
    rates = {TORQUE: case.end.twist_spring, FORCE: case.end.axial_spring}
    if sprung := [up for up, rate in rates.items() if rate]:
        shown.append(Strip("Loads on the free end", PRESSURE, sprung, end))
    if not case.move or not any(len(move_rows(run, case)) > 1 for run in runs):
        return shown
    if case.pressure:
        drive, held, third = "Pressure raised", f"at {show(case.pressure.end, STRESS)}", BULGE
    elif case.volume:
        drive, held, third = "Volume pushed in", "the volume held", PRESSURE
    else:
        drive, held, third = "Air let in", "the air shut in", PRESSURE
    if (way := case.move.displacement) is not None:
        across, ups, words = DISPLACEMENT, [FORCE, turn], f"along the axis to {show(way, LENGTH)}"
    else:
        angle = case.move.twist or 0.0
        across, ups, words = TWIST, [TORQUE, shift], f"round the axis to {show(angle, ANGLE)}"
        way = float(np.degrees(angle))
    heading = f"Then the free end moved {words.replace('-', MINUS)}, {held}"
    move = Strip(heading, across, [*ups, third], way, moved=True)
    return [shown[0]._replace(heading=drive), *shown[1:], move]
