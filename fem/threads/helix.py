r"""The helix of a thread on the undeformed tube.

A thread at helix angle alpha to the axis of a tube of radius R runs through
(R cos theta, R sin theta, Z) with theta = theta_0 + Z tan(alpha) / R. A positive angle is a
right-handed helix: theta grows with Z. Its length is L / cos(alpha). The ring at the other end is
turned by phi = L tan(alpha) / R relative to the anchors on the first plate.

Friction. A thread that slides on the tube presses on it by its curvature sin^2(alpha) / R. Over the
whole thread the angle of wrap is phi sin(alpha), and with the coefficient mu the tensions at its
ends differ by at most the factor exp(mu phi sin(alpha)) (L. Euler and J. A. Eytelwein; formula
from memory).

See also eqs. (17), (18) and (24) of docs/theory.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Self

import numpy as np


@dataclass(frozen=True)
class Helix:
    """Helices of threads; each attribute is a number or an array.

    Attributes
    ----------
    angle
        Helix angle alpha (rad).
    radius, tube_length
        R and L (mm).
    """

    angle: Any
    radius: Any
    tube_length: Any

    @classmethod
    def of_ring(cls, turn: Any, radius: Any, tube_length: Any) -> Self:
        """Return the helix that belongs to a turn of the ring (rad)."""
        return cls(np.arctan(radius * turn / tube_length), radius, tube_length)

    @property
    def turn_rate(self) -> Any:
        """d(theta)/dZ (rad/mm)."""
        return np.tan(self.angle) / self.radius

    @property
    def ring_turn(self) -> Any:
        """Turn phi of the ring (rad)."""
        return self.turn_rate * self.tube_length

    @property
    def length(self) -> Any:
        """Length of one thread (mm)."""
        return self.tube_length / np.cos(self.angle)

    @property
    def wrap(self) -> Any:
        """Angle of wrap of one thread on the tube (rad), never negative."""
        return self.ring_turn * np.sin(self.angle)

    def capstan_ratio(self, friction: Any) -> Any:
        """Return the greatest ratio of the tensions at the two ends that friction allows."""
        with np.errstate(over="ignore"):  # infinite for a thousand turns
            return np.exp(friction * self.wrap)
