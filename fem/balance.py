"""Balance checks on a solved path: figures that ought to be nil, whatever the model.

Energy. The work of the pressure along the path, the integral of P dV from rest, is stored:
E(end) - E(rest). With dV/dP known at the steps, V is taken for the cubic with these slopes between
them, whose integral over a step h is h (V_0 + V_1)/2 + h^2 (V_0' - V_1')/12.

Ends. A closed tube that nothing else pulls or turns carries the thrust of the pressure on its end
plate as tension, and no torque.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from fem.arrays import Array
from fem.measure import Reactions
from fem.path import State


class Balanced(Protocol):
    """What a model must tell to be checked."""

    copies: int

    def energy(self, x: Array) -> float:
        """Return the stored energy (N mm)."""

    def load_direction(self, x: Array) -> Array:
        """Return the derivative of the volume of one of `copies` equal parts by x."""

    def reactions(self, x: Array, load: float) -> Reactions:
        """Return what wall and threads carry."""


def check_balance(
    model: Balanced, states: Sequence[State], volumes: Sequence[float], radius: float
) -> dict[str, float]:
    """Return the imbalance of energy and ends.

    Parameters
    ----------
    model
        What was solved.
    states, volumes
        The path from rest, and the enclosed volume at each state (mm3).
    radius
        Lever arm that the torque is held against (mm).

    Returns
    -------
    dict
        `pressure_work_Nmm` and `stored_energy_Nmm`; their difference as a share of the work; the
        greatest gap between end force and pressure times area, and the greatest torque, as
        shares of the thrust (and of the thrust times `radius`).
    """
    work = _pressure_work(model, states, volumes)
    stored = model.energy(states[-1].x) - model.energy(states[0].x)
    force_gap = torque = 0.0
    for state in states[1:]:
        carried = model.reactions(state.x, state.load)
        thrust = state.load * carried.bore_area
        force_gap = max(force_gap, abs(carried.force / thrust - 1))
        torque = max(torque, abs(carried.torque / (thrust * radius)))
    return {
        "pressure_work_Nmm": work,
        "stored_energy_Nmm": stored,
        "energy_gap": abs(stored - work) / work if work else 0.0,
        "end_force_gap": force_gap,
        "end_torque": torque,
    }


def _pressure_work(model: Balanced, states: Sequence[State], volumes: Sequence[float]) -> float:
    P = np.array([state.load for state in states])
    V = np.array(volumes)
    slope = model.copies * np.array([model.load_direction(s.x) @ s.slope for s in states])
    h = np.diff(P)
    area = h * (V[:-1] + V[1:]) / 2 + h**2 * (slope[:-1] - slope[1:]) / 12
    return float(P[-1] * V[-1] - P[0] * V[0] - area.sum())
