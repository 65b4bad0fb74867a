r"""Thread families: the tension law and the helix on the undeformed tube.

Law. A thread of axial stiffness EA carries tension only. With e = l/l0 - 1 its strain,

.. math:: T = EA\, h(e), \qquad h = 0 \; (e \le 0), \quad
          e^2 / 2 e_t \; (e < e_t), \quad e - e_t / 2 \; (e \ge e_t),

once differentiable: the toe e_t is the crimp of a real thread, and it gives a thread at exactly
zero strain a defined tangent, without which Newton's first step stalls. The energy per reference
length is EA H(e) with H' = h.

Helix. A thread at helix angle alpha to the axis of a tube of radius R runs through
(R cos theta, R sin theta, Z) with theta = theta_0 + Z tan(alpha) / R. A positive angle is a
right-handed helix: theta grows with Z. Its length is L / cos(alpha).
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from fem.arrays import Array
from fem.units import Force, HelixAngle

AT_REST = 1e-12
"""A smaller strain is that of a thread at rest."""


class ThreadFamily(BaseModel):
    """Equal threads, equally spaced round the tube, at one helix angle."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: str = Field(
        pattern=r"^[A-Za-z][A-Za-z0-9_-]{0,31}$",
        description="Letters, digits, _ and -; it names the columns of the tables.",
    )
    count: int = Field(ge=1, le=500, strict=True, description="Number of threads.")
    angle: HelixAngle = Field(
        description="Helix angle to the axis; positive is right-handed.",
    )
    stiffness: Force = Field(description="Axial stiffness EA of one thread.")
    toe: float = Field(
        default=1e-3,
        gt=0,
        le=0.2,
        allow_inf_nan=False,
        strict=True,
        description="Strain e_t of the toe.",
    )
    hold: Literal["bonded"] = Field(
        default="bonded", description="How the thread is held along the wall."
    )
    slack: Literal["taken up"] = Field(
        default="taken up", description="Rule for the slack at the set angle."
    )

    def tension(self, strain: Array) -> tuple[Array, Array]:
        """Return the tension T and its slope dT/de, both in N and shaped as `strain`.

        At rest the slope of the toe is nil, and a step that starts there would not see the thread;
        the slope beyond the toe is handed out instead. It affects the way, not where it leads.
        """
        toe = self.toe
        at_rest = np.abs(strain) < AT_REST
        strain = np.where(at_rest, 0.0, strain)
        in_toe = np.clip(strain, 0.0, toe)
        beyond = np.maximum(strain - toe, 0.0)
        return (
            self.stiffness * (in_toe**2 / (2 * toe) + beyond),
            self.stiffness * np.where(at_rest, 1.0, in_toe / toe),
        )

    def energy(self, strain: Array) -> Array:
        """Return the stored energy per reference length in N (N mm per mm)."""
        toe = self.toe
        in_toe = np.clip(strain, 0.0, toe)
        beyond = np.maximum(strain - toe, 0.0)
        return self.stiffness * (in_toe**3 / (6 * toe) + beyond * (beyond + toe) / 2)

    def turn_rate(self, radius: float) -> float:
        """Return d(theta)/dZ of the helix on a tube of `radius` (rad/mm)."""
        return math.tan(self.angle) / radius

    def length(self, tube_length: float) -> float:
        """Return the length of one thread (mm)."""
        return tube_length / math.cos(self.angle)
