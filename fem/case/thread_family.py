r"""Thread families: the tension law and the helix on the undeformed tube.

Law. A thread of axial stiffness EA carries tension only. A piece of it that is l0 long on the tube
at rest has, with slack s, the natural length l0 (1 + s). With e = l / (l0 (1 + s)) - 1 its strain,

.. math:: T = EA\, h(e), \qquad h = 0 \; (e \le 0), \quad
          e^2 / 2 e_t \; (e < e_t), \quad e - e_t / 2 \; (e \ge e_t),

once differentiable: the toe e_t is the crimp of a real thread, and it gives a thread at exactly
zero strain a defined tangent, without which Newton's first step stalls. The energy per natural
length is EA H(e) with H' = h.

Helix. A thread at helix angle alpha to the axis of a tube of radius R runs through
(R cos theta, R sin theta, Z) with theta = theta_0 + Z tan(alpha) / R. A positive angle is a
right-handed helix: theta grows with Z. Its length is L / cos(alpha). The ring that holds the other
end has then turned by phi = L tan(alpha) / R against the anchors on the first plate.

Friction. A thread that glides on the tube presses on it by its curvature sin^2(alpha) / R. Over the
whole thread it winds through the angle phi sin(alpha), and with the coefficient mu the tensions at
its ends differ by at most the factor exp(mu phi sin(alpha)) (L. Euler and J. A. Eytelwein; formula
from memory).
"""

from __future__ import annotations

import math
from typing import Any, Literal, Self

import numpy as np
from pydantic import (
    Field,
    SerializerFunctionWrapHandler,
    model_serializer,
    model_validator,
)

from fem.case.slack import Slack, SlackRule
from fem.core.arrays import Array
from fem.core.json_schema import schema_of_one
from fem.core.schema_base import Part, misfit, one_of
from fem.core.units import Angle, Force, HelixAngle

AT_REST = 1e-12
"""A smaller strain is that of a thread at rest."""

FROM_RING: Any = None
"""In place of the angle until it is found from the turn of the ring."""

MOST_EXPONENT = 700.0
"""The exponential of more is no number."""


class ThreadFamily(Part):
    """Equal threads, equally spaced round the tube, at one helix angle.

    The angle is given, or else the turn of the ring, from which :meth:`on` finds it. In a case it
    is always there.
    """

    model_config = schema_of_one("angle", "ring_turn")

    name: str = Field(
        pattern=r"^[A-Za-z][A-Za-z0-9_-]{0,31}$",
        description="Letters, digits, _ and -; it names the columns of the tables.",
    )
    count: int = Field(ge=1, le=500, strict=True, description="Number of threads.")
    angle: HelixAngle = Field(
        default=FROM_RING,
        description="Helix angle to the axis; positive is right-handed.",
    )
    ring_turn: Angle | None = Field(
        default=None,
        description="In place of the angle: turn of the ring that holds the threads against their "
        "anchors on the other plate; positive is right-handed.",
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
    hold: Literal["bonded", "gliding", "free path"] = Field(
        default="bonded",
        description="How the thread is held along the wall: bonded to it; gliding along its path, "
        "held at the plates alone; or gliding and free to move sideways to the shortest path.",
    )
    slack: SlackRule = Field(
        default="taken up",
        validate_default=True,
        description='Rule for the slack at the set angle: "taken up", "3 %" or "cut at 45 deg".',
    )
    breaking_load: Force | None = Field(
        default=None, description="Tension at which one thread breaks."
    )
    friction: float | None = Field(
        default=None,
        ge=0,
        le=2,
        allow_inf_nan=False,
        strict=True,
        description="Coefficient of friction of a gliding thread on the rubber.",
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        one_of(self, "angle", "ring_turn")
        if self.friction is not None and self.hold == "bonded":
            raise misfit(
                "a bonded thread does not slide, so it has no friction; "
                'leave friction out, or set hold = "gliding" or "free path"',
                "friction",
            )
        return self

    @model_serializer(mode="wrap")
    def _as_given(self, write: SerializerFunctionWrapHandler) -> dict[str, Any]:
        data: dict[str, Any] = write(self)
        if self.ring_turn is not None:
            del data["angle"]
        return data

    def on(self, radius: float, tube_length: float) -> Self:
        """Return the family with its angle set, on a tube of these sizes (mm)."""
        if self.ring_turn is None:
            return self
        angle = math.atan(radius * self.ring_turn / tube_length)
        return self.model_copy(update={"angle": angle})

    @property
    def slack_strain(self) -> float:
        """Slack s at the set angle, without dimension."""
        return self.slack.strain(self.angle)

    def tightened(self, share: float) -> Self:
        """Return the family on the way to its set-up: only `share` of negative slack wound in."""
        slack = self.slack_strain
        if slack >= 0 or share == 1:
            return self
        return self.model_copy(update={"slack": Slack(percent=100 * share * slack)})

    def natural(self, length: Any) -> Any:
        """Return the natural length of a piece that is `length` long on the tube at rest."""
        return length * (1 + self.slack_strain)

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
        """Return the stored energy per natural length in N (N mm per mm)."""
        toe = self.toe
        in_toe = np.clip(strain, 0.0, toe)
        beyond = np.maximum(strain - toe, 0.0)
        return self.stiffness * (in_toe**3 / (6 * toe) + beyond * (beyond + toe) / 2)

    def turn_rate(self, radius: float) -> float:
        """Return d(theta)/dZ of the helix on a tube of `radius` (rad/mm)."""
        return math.tan(self.angle) / radius

    def length(self, tube_length: float) -> float:
        """Return the length of the helix of one thread (mm)."""
        return tube_length / math.cos(self.angle)

    def wrap(self, radius: float, tube_length: float) -> float:
        """Return the angle through which one thread winds on the tube (rad), never negative."""
        return self.turn_rate(radius) * tube_length * math.sin(self.angle)

    def capstan_ratio(self, radius: float, tube_length: float) -> float:
        """Return the greatest ratio of the tensions at the two ends that friction can hold."""
        exponent = (self.friction or 0.0) * self.wrap(radius, tube_length)
        return math.exp(exponent) if exponent < MOST_EXPONENT else math.inf
