"""The table of a thread family."""

from __future__ import annotations

import math
from typing import Any, Literal, Self

from pydantic import (
    Field,
    SerializerFunctionWrapHandler,
    ValidationInfo,
    model_serializer,
    model_validator,
)

from fem.case.slack import SlackRule
from fem.case.tube import Tube
from fem.core.schema_base import CheckedTable, Number, invalid, one_of, schema_of_one
from fem.core.units import Angle, Force, HelixAngle
from fem.threads.helix import Helix
from fem.threads.tension import TensionLaw, applied_slack

MAX_TURNS = 1000
MIN_SLACK = -0.2
"""The least slack: such a thread is stretched by a quarter to reach its plate.

Synthetic yarns break at a strain of 4 to 25 % (common practice, no source).
"""

FROM_RING: Any = None
"""Value of the angle until it is found from the turn of the ring."""

WITH_ANGLE = "with the angle found from the turn of the ring"
"""Validation context of a family whose ring turn and angle are both known."""


class ThreadFamily(CheckedTable):
    """Equal threads, equally spaced round the tube, at one helix angle.

    Either the angle is given or the turn of the ring, from which :meth:`on` finds the angle. In a
    case the angle is always known.
    """

    model_config = schema_of_one("angle", "ring_turn")

    name: str = Field(
        pattern=r"^[A-Za-z][A-Za-z0-9_-]{0,31}$",
        description="Letters, digits, _ and -; part of the names of columns.",
    )
    count: int = Field(ge=1, le=500, strict=True, description="Number of threads.")
    angle: HelixAngle = Field(
        default=FROM_RING,
        description="Helix angle to the axis; positive is right-handed.",
    )
    ring_turn: Angle | None = Field(
        default=None,
        description="Instead of the angle: turn of the ring at one end of the threads relative to "
        "their anchors on the other plate; positive is right-handed.",
    )
    stiffness: Force = Field(description="Axial stiffness EA of one thread.")
    toe: Number = Field(
        default=1e-3, gt=0, le=0.2, description="Strain range e_t of the toe region."
    )
    hold: Literal["bonded", "sliding", "geodesic"] = Field(
        default="bonded",
        description="Contact with the wall: bonded; sliding along the helix, fastened only at the "
        "plates; or geodesic, which is sliding and free to move sideways to the shortest path.",
    )
    slack: SlackRule = Field(
        default="taken up",
        validate_default=True,
        description='Rule for the slack at the set angle: "taken up", "3 %" or "cut at 45 deg".',
    )
    breaking_load: Force | None = Field(
        default=None, description="Tension at which one thread breaks."
    )
    friction: Number | None = Field(
        default=None,
        ge=0,
        le=2,
        description="Coefficient of friction between a sliding thread and the rubber.",
    )

    @model_validator(mode="after")
    def _check(self, info: ValidationInfo) -> Self:
        if info.context != WITH_ANGLE:
            one_of(self, "angle", "ring_turn")
        if self.friction is not None and self.hold == "bonded":
            raise invalid(
                "a bonded thread does not slide, so it has no friction; "
                'leave friction out or set hold = "sliding" or "geodesic"',
                "friction",
            )
        return self

    @model_serializer(mode="wrap")
    def _as_given(self, write: SerializerFunctionWrapHandler) -> dict[str, Any]:
        data: dict[str, Any] = write(self)
        if self.ring_turn is not None:
            data.pop("angle", None)
        return data

    def on(self, tube: Tube) -> Self:
        """Return the family on a tube, its angle known; raise if it does not fit there."""
        if self.ring_turn is None:
            return self._checked_on(tube)
        helix = Helix.of_ring(self.ring_turn, tube.outer_radius, tube.length)
        data = self.model_dump(mode="json", exclude_none=True) | {"angle": f"{helix.angle} rad"}
        return self.model_validate(data, context=WITH_ANGLE)._checked_on(tube)

    def _checked_on(self, tube: Tube) -> Self:
        who = f'threads: family "{self.name}"'
        turns = abs(self.helix(tube).ring_turn) / (2 * math.pi)
        if turns > MAX_TURNS:
            raise invalid(
                f"{who} makes {turns:.0f} turns round the tube; "
                f"at most {MAX_TURNS} are allowed: make its angle or the tube smaller"
            )
        if self.slack_strain < MIN_SLACK:
            raise invalid(
                f'{who}: slack = "{self.slack}" at an angle of {math.degrees(self.angle):.4g} deg '
                f"would stretch it to {1 / (1 + self.slack_strain):.3g} times its length; "
                f"at most {1 / (1 + MIN_SLACK):.3g} times is allowed: make the "
                "angle smaller or cut the threads at a larger one"
            )
        return self

    def helix(self, tube: Tube) -> Helix:
        """Return the helix of one thread on a tube."""
        return Helix(self.angle, tube.outer_radius, tube.length)

    @property
    def law(self) -> TensionLaw:
        """The tension law of one thread."""
        return TensionLaw(self.stiffness, self.toe)

    @property
    def slack_strain(self) -> float:
        """Slack s at the set angle, without dimension."""
        return self.slack.strain(self.angle)

    def natural(self, length: Any, prestress_fraction: float = 1.0) -> Any:
        """Return the natural length of a piece of the given length on the tube at rest.

        Negative slack is multiplied by the fraction; see :func:`fem.threads.tension.applied_slack`.
        """
        return length * (1 + applied_slack(self.slack_strain, prestress_fraction))
