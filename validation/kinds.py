"""The kinds of quantity that `TABLE.md` groups values by."""

from __future__ import annotations

import re
from enum import StrEnum


class Kind(StrEnum):
    """A kind of quantity; the value is the text in the table."""

    TWIST = "twist"
    AXIAL = "displacement, axial stretch"
    RADIAL = "radius, hoop stretch"
    VOLUME = "volume"
    PRESSURE = "pressure"
    FORCE = "axial force"
    TORQUE = "torque"
    TENSION = "thread tension"
    LINE_LOAD = "loads that a thread exerts"
    THREAD = "thread length, strain, angle"
    STRESS = "stress"
    ENERGY = "energy"
    MATERIAL = "material constants, misfit"
    OUTPUTS = "all output columns"
    CONVERGENCE = "convergence"
    STABILITY = "stability"
    TREND = "sign, order, count"
    MAGNITUDE = "large enough to compare"
    SOLVER = "Newton iterations"
    EQUILIBRIUM = "equilibrium checks"
    SYMMETRY = "mirror image"


NAMES: dict[Kind, tuple[str, ...]] = {
    Kind.TWIST: (
        "twist",
        "phi",
        "psi",
        "R psi",
        "k",
        "k/q",
        "R psi/e2",
        "twist of the middle half",
    ),
    Kind.AXIAL: (
        *("displacement", "w", "z", "u_z", "lambda", "lambda - 1", "l", "l1", "eps_z", "e_max"),
        *("e1/q", "e1/e2", "axial strain", "lengthening of the middle half"),
    ),
    Kind.RADIAL: (
        *("a", "b", "a/A", "r/R", "r/R - 1", "u(A)", "u(B)", "l2", "e2/q", "bulge"),
        *("hoop strain", "hoop stretch", "growth of the outer radius in the middle half"),
    ),
    Kind.VOLUME: ("V", "V/V0", "dV/V/e2"),
    Kind.PRESSURE: ("P", "P/mu", "P R/(mu H)"),
    Kind.FORCE: ("F", "N", "N/M", "F/(pi r^2 P)"),
    Kind.TORQUE: ("M",),
    Kind.TENSION: (
        "n T",
        "n T of A",
        "n T of B",
        "T/pr",
        "tension",
        "tension A",
        "tension B",
        "T2/T1",
    ),
    Kind.THREAD: (
        "length",
        "polygon/helix",
        "torsion",
        "ring turn",
        "helix angle",
        "slack",
        "strain of the thread",
    ),
    Kind.LINE_LOAD: ("q", "pull on a plate along the axis"),
    Kind.STRESS: ("nominal stress", "sigma_theta(A)", "sigma_z"),
    Kind.ENERGY: ("E", "energy", "stored energy", "W"),
    Kind.MATERIAL: ("mu", "C1", "C2", "C3", "Jm", "mu1", "mu2", "mu3", "rms of e"),
    Kind.STABILITY: ("unstable states", "unstable directions"),
    Kind.EQUILIBRIUM: ("energy_gap", "end_force_gap", "end_torque_gap"),
}
"""Names of quantities without their units, by kind."""

_KIND = {name: kind for kind, names in NAMES.items() for name in names}
_UNIT = re.compile(r" \([^()]*\)$")


def kind_of(name: str) -> Kind | None:
    """Return the kind of "setting, setting, quantity (unit)"; None if the quantity is unknown."""
    return _KIND.get(_UNIT.sub("", name).rpartition(", ")[2])
