"""Equilibrium checks on a solved path: residuals that are zero in exact arithmetic.

Energy. The work of the loads since the first state is stored: E - E_0 = W, where W is integrated
along the path (:mod:`fem.continuation.work`).

Ends. The axial force of wall and threads at the base equals the thrust of the pressure on the bore
plus the force on the free end. Their torque equals that on the free end.

See also eqs. (52) and (53) of docs/theory.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from fem.continuation.state import State
from fem.quantities.measures import Reactions

BALANCE = ("work_Nmm", "stored_energy_Nmm", "energy_gap", "end_force_gap", "end_torque_gap")
"""Work and stored energy at the end of a path, and the greatest gaps of its states."""


def energy_gap(first: State, state: State) -> float:
    """Return the work since `first` that is not stored, as a share of the absolute work."""
    stored = state.energy - first.energy
    return abs(stored - state.work) / state.absolute_work if state.absolute_work else 0.0


def end_gaps(loads: Any, reaction: Reactions, radius: Any) -> tuple[Any, Any]:
    """Return the relative gaps of axial force and of torque at the base.

    The gap of the force is divided by the applied forces, that of the torque by these times
    `radius` (mm). `loads` are pressure (MPa), force (N) and torque (N mm); all may be numbers, or
    arrays of many states.
    """
    pressure, pull, torque = loads
    thrust = pressure * reaction.bore_area
    applied = np.abs(thrust) + np.abs(pull) + np.abs(torque) / radius
    scale = np.where(applied > 0, applied, np.inf)  # no gap without loads
    force_gap = np.abs(reaction.force - thrust - pull) / scale
    return force_gap, np.abs(reaction.torque - torque) / (scale * radius)


def check_balance(
    states: Sequence[State], reactions: Sequence[Reactions], radius: float
) -> dict[str, float]:
    """Return the values of a path by their names in `BALANCE`.

    Parameters
    ----------
    states, reactions
        The path from its first state, and force and torque of wall and threads at each state.
    radius
        Lever arm that makes the torque dimensionless (mm).
    """
    pairs = zip(states, reactions, strict=True)
    gaps = [end_gaps(state.loads, reaction, radius) for state, reaction in pairs]
    values = (
        states[-1].work,
        states[-1].energy - states[0].energy,
        max(energy_gap(states[0], state) for state in states),
        max(force for force, _ in gaps),
        max(torque for _, torque in gaps),
    )
    return {name: float(value) for name, value in zip(BALANCE, values, strict=True)}
