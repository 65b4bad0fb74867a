"""From a case to its loading: the device of each pair, and the stages of the path.

Dead loads act on the free end before the tube is inflated; these stages are not output. Then the
drive increases pressure, volume or mass of air in its steps. Last, the free end is moved if the
case has a move.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from fem.case.case import Case
from fem.case.drive import GAS_CONSTANT, AddedVolume, Gas, Pressure
from fem.continuation.loading import (
    AXIAL,
    PRESSURE,
    TWIST,
    ClosedGas,
    Loading,
    Stage,
    dead_load,
    prescribed,
    spring,
)

if TYPE_CHECKING:
    from fem.continuation.state import State


def loading_of(case: Case) -> Loading:
    """Return the loading of the tube at rest: no pressure, and a free end without dead loads."""
    tube, end = case.tube, case.end
    radius, force = tube.outer_radius, case.force_scale
    return Loading(
        devices=(
            dead_load(),
            prescribed() if end.axial == "held" else spring(end.axial_spring),
            prescribed() if end.twist == "held" else spring(end.twist_spring),
        ),
        load_scale=np.array([case.rubber.constitutive_law.shear_modulus, force, force * radius]),
        conjugate_scale=np.array([math.pi * tube.bore_radius**2 * tube.length, radius, 1.0]),
    )


def stages_of(case: Case) -> list[Stage]:
    """Return the stages of the path from rest."""
    end, move = case.end, case.move
    stages = []
    if end.force:
        stages.append(Stage(AXIAL, spring(end.axial_spring), to=end.force, output=False))
    if end.torque:
        stages.append(Stage(TWIST, spring(end.twist_spring), to=end.torque, output=False))
    stages.append(_drive(case))
    if move and move.displacement is not None:
        stages.append(Stage(AXIAL, prescribed(), move.steps, to=move.displacement))
    elif move and move.twist is not None:
        stages.append(Stage(TWIST, prescribed(), move.steps, to=move.twist))
    return stages


def steps_of(case: Case) -> int:
    """Return the number of requested steps."""
    return case.drive.steps + (case.move.steps if case.move else 0)


def air_added(gas: Gas, start: State, state: State) -> float:
    """Return the mass of air added between two states (mg)."""
    device = ClosedGas(0.0, gas.ambient, gas.line_volume)
    amounts = [device.constraint(s.loads[PRESSURE], s.conjugates[PRESSURE]) for s in (start, state)]
    return 1e9 * (amounts[1] - amounts[0]) / (GAS_CONSTANT * gas.temperature)


def _drive(case: Case) -> Stage:
    match case.drive:
        case Pressure() as drive:
            return Stage(PRESSURE, dead_load(), drive.steps, to=drive.end)
        case AddedVolume() as drive:
            return Stage(PRESSURE, prescribed(), drive.steps, by=drive.added)
        case Gas() as drive:
            device = ClosedGas(0.0, drive.ambient, drive.line_volume)
            return Stage(PRESSURE, device, drive.steps, by=drive.gas_product)
