"""Balance checks on a solved path: figures that ought to be nil, whatever the model.

Energy. The work of the loads since the first state is stored: E - E_0 = W, with W kept in account
along the path (:mod:`fem.work`).

Ends. What wall and threads carry across the section at the base is the thrust of the pressure on
the bore there and the force on the free end, and the torque on the free end: the plates' torques
sum up to zero.
"""

from __future__ import annotations

from collections.abc import Sequence

from fem.measure import Reactions
from fem.state import State


def energy_gap(first: State, state: State) -> float:
    """Return the part of the work since `first` that is not stored, as a share of all of it."""
    stored = state.energy - first.energy
    return abs(stored - state.work) / state.traffic if state.traffic else 0.0


def end_gaps(state: State, carried: Reactions, radius: float) -> tuple[float, float]:
    """Return the gap between carried and applied force, and that of torque.

    They are shares of the applied forces, and of these times `radius` (mm).
    """
    thrust, pull, torque = state.loads * [carried.bore_area, 1.0, 1.0]
    scale = abs(thrust) + abs(pull) + abs(torque) / radius
    if not scale:
        return 0.0, 0.0
    force_gap = abs(carried.force - thrust - pull) / scale
    return float(force_gap), float(abs(carried.torque - torque) / (scale * radius))


def check_balance(
    states: Sequence[State], reactions: Sequence[Reactions], radius: float
) -> dict[str, float]:
    """Return the imbalance of energy and ends.

    Parameters
    ----------
    states, reactions
        The path from its beginning, and what wall and threads carry at each of its states.
    radius
        Lever arm that the torque is held against (mm).

    Returns
    -------
    dict
        `work_Nmm` and `stored_energy_Nmm` at the end; the greatest `energy_gap`, `end_force_gap`
        and `end_torque_gap` of all states.
    """
    gaps = [end_gaps(s, carried, radius) for s, carried in zip(states, reactions, strict=True)]
    return {
        "work_Nmm": states[-1].work,
        "stored_energy_Nmm": states[-1].energy - states[0].energy,
        "energy_gap": max(energy_gap(states[0], state) for state in states),
        "end_force_gap": max(force for force, _ in gaps),
        "end_torque_gap": max(torque for _, torque in gaps),
    }
