"""Equilibrium checks on a solved path: residuals that are zero in exact arithmetic.

Energy. The work of the loads since the first state is stored: E - E_0 = W, with W kept in account
along the path (:mod:`fem.continuation.work`).

Ends. What wall and threads carry across the section at the base is the thrust of the pressure on
the bore there and the force on the free end, and the torque on the free end: the plates' torques
sum up to zero.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from fem.continuation.state import State
from fem.quantities.measures import Reactions

BALANCE = ("work_Nmm", "stored_energy_Nmm", "energy_gap", "end_force_gap", "end_torque_gap")
"""Work of the loads and stored energy at the end of a path, and the greatest gaps of its states."""


def energy_gap(first: State, state: State) -> float:
    """Return the part of the work since `first` that is not stored, as a share of all of it."""
    stored = state.energy - first.energy
    return abs(stored - state.work) / state.absolute_work if state.absolute_work else 0.0


def end_gaps(loads: Any, carried: Reactions, radius: Any) -> tuple[Any, Any]:
    """Return the gap between carried and applied force, and that of torque.

    They are shares of the applied forces, and of these times `radius` (mm). `loads` are pressure
    (MPa), force (N) and torque (N mm); all may be numbers, or arrays of many states.
    """
    pressure, pull, torque = loads
    thrust = pressure * carried.bore_area
    applied = np.abs(thrust) + np.abs(pull) + np.abs(torque) / radius
    scale = np.where(applied > 0, applied, np.inf)  # without loads there is no gap
    force_gap = np.abs(carried.force - thrust - pull) / scale
    return force_gap, np.abs(carried.torque - torque) / (scale * radius)


def check_balance(
    states: Sequence[State], reactions: Sequence[Reactions], radius: float
) -> dict[str, float]:
    """Return the values of a path by their names in `BALANCE`.

    Parameters
    ----------
    states, reactions
        The path from its beginning, and what wall and threads carry at each of its states.
    radius
        Lever arm that the torque is held against (mm).
    """
    pairs = zip(states, reactions, strict=True)
    gaps = [end_gaps(state.loads, carried, radius) for state, carried in pairs]
    values = (
        states[-1].work,
        states[-1].energy - states[0].energy,
        max(energy_gap(states[0], state) for state in states),
        max(force for force, _ in gaps),
        max(torque for _, torque in gaps),
    )
    return {name: float(value) for name, value in zip(BALANCE, values, strict=True)}
