"""Which panels the picture of the curves has: what against what, and for which part of the path."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from fem.case.case import Case
from fem.core.units import ANGLE, LENGTH, MINUS, STRESS, show
from fem.quantities import table
from fem.quantities.column import named
from fem.results.run import Run
from fem.wording.run_sections import Rows, driven, moved

PRESSURE, BULGE = table.pressure.column, table.bulge.column
TWIST, DISPLACEMENT = table.twist.column, table.displacement.column
FORCE, TORQUE = table.end_force.column, table.end_torque.column


def label_of(column: str) -> str:
    """Return what an axis says of a column of the step table."""
    return named(column).words


class Panel(NamedTuple):
    """One pair of axes: the columns of the step table that go across and up."""

    across: str
    up: str


class Strip(NamedTuple):
    """Panels side by side on one part of the path.

    Attributes
    ----------
    heading
        What is done to the tube there; empty where it goes without saying.
    panels
        The panels.
    moved
        Whether it is the move of the free end, or else the drive.
    """

    heading: str
    panels: list[Panel]
    moved: bool

    def rows(self, run: Run, case: Case) -> Rows:
        """Return the rows of a run on this part of the path."""
        return moved(run, case) if self.moved else driven(run, case)


def strips(case: Case, runs: Sequence[Run]) -> list[Strip]:
    """Return the strips from above: the drive, what springs do in it, the move if it is reached."""
    shown = [Strip("", _drive_panels(case), moved=False)]
    if sprung := _spring_panels(case):
        shown.append(Strip("Loads on the free end", sprung, moved=False))
    if not any(len(moved(run, case)) > 1 for run in runs):
        return shown
    return [shown[0]._replace(heading=_drive_words(case)), *shown[1:], _move_strip(case)]


def _turning(case: Case) -> str:
    """Return the column that tells how the free end turns, or the torque if it may not."""
    return TORQUE if case.end.twist == "held" else TWIST


def _shifting(case: Case) -> str:
    """Return the column that tells how the free end shifts, or the force if it may not."""
    return FORCE if case.end.axial == "held" else DISPLACEMENT


def _drive_panels(case: Case) -> list[Panel]:
    return [Panel(PRESSURE, up) for up in (_turning(case), _shifting(case), BULGE)]


def _spring_panels(case: Case) -> list[Panel]:
    """Return the loads that springs put on the free end; what holds it is among the others."""
    rates = {TORQUE: case.end.twist_spring, FORCE: case.end.axial_spring}
    return [Panel(PRESSURE, up) for up, rate in rates.items() if rate]


def _drive_words(case: Case) -> str:
    if case.pressure:
        return "Pressure raised"
    return "Volume pushed in" if case.volume else "Air let in"


def _move_strip(case: Case) -> Strip:
    assert case.move is not None
    held = "the volume held"
    if case.pressure:
        held = f"at {show(case.pressure.end, STRESS)}"
    elif case.gas:
        held = "the air shut in"
    third = BULGE if case.pressure else PRESSURE
    if case.move.displacement is not None:
        across, ups = DISPLACEMENT, [FORCE, _turning(case), third]
        way = f"along the axis to {show(case.move.displacement, LENGTH)}"
    else:
        across, ups = TWIST, [TORQUE, _shifting(case), third]
        way = f"round the axis to {show(case.move.twist or 0.0, ANGLE)}"
    heading = f"Then the free end moved {way.replace('-', MINUS)}, {held}"
    return Strip(heading, [Panel(across, up) for up in ups], True)
