"""Balance checks on a solved path: figures that ought to be nil, whatever the model.

Energy. The work of the pressure along the path, the integral of P dV from rest, is stored:
E(end) - E(rest). With dV/dP known at the steps, the curve in the plane of P and V is taken for the
parametric cubic between them whose tangents are as long as the chord; unlike V(P) it stays smooth
where a tube is about to balloon, and unlike P(V) where threads lock its volume.

Ends. A closed tube that nothing else pulls or turns carries the thrust of the pressure on its end
plate as tension, and no torque.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.polynomial.polynomial import polyder, polyval

from fem.arrays import Array
from fem.cubic import hermite
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
    slopes = [model.copies * model.load_direction(state.x) @ state.slope for state in states]
    loads = [state.load for state in states]
    work = _pressure_work(np.array(loads), np.array(volumes), np.array(slopes))
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


def _pressure_work(P: Array, V: Array, slope: Array) -> float:
    """Return the integral of P dV over a curve given by points and slopes dV/dP."""
    s, weights = np.polynomial.legendre.leggauss(3)  # exact for the product of two cubics
    s, weights = (s + 1) / 2, weights / 2
    work = 0.0
    for k in range(len(P) - 1):
        dP, dV = P[k + 1] - P[k], V[k + 1] - V[k]
        steepness = slope[k : k + 2] * dP / dV  # of the tangents, where the chord has 1
        tangents = np.sqrt(2 / (1 + steepness**2))  # as long as the chord
        pressure = hermite(np.array([0.0, 1.0]), tangents)
        volume = hermite(np.array([0.0, 1.0]), tangents * steepness)
        work += dV * (P[k] + dP * (weights @ (polyval(s, pressure) * polyval(s, polyder(volume)))))
    return float(work)
