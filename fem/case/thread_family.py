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

MOST_TURNS = 1000
LEAST_SLACK = -0.2
"""A thread of less, stretched by a quarter to reach its plate, tears.

Synthetic yarns break at a strain of 4 to 25 % (common practice, no source).
"""

FROM_RING: Any = None
"""In place of the angle until it is found from the turn of the ring."""

WITH_ANGLE = "with the angle found from the turn of the ring"
"""Context in which a family is validated whose ring turn and angle are both known."""


class ThreadFamily(CheckedTable):
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
    toe: Number = Field(default=1e-3, gt=0, le=0.2, description="Strain e_t of the toe.")
    hold: Literal["bonded", "sliding", "geodesic"] = Field(
        default="bonded",
        description="How the thread is held along the wall: bonded to it; sliding along its path, "
        "held at the plates alone; or sliding and free to move sideways to the shortest path.",
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
        description="Coefficient of friction of a sliding thread on the rubber.",
    )

    @model_validator(mode="after")
    def _check(self, info: ValidationInfo) -> Self:
        if info.context != WITH_ANGLE:
            one_of(self, "angle", "ring_turn")
        if self.friction is not None and self.hold == "bonded":
            raise invalid(
                "a bonded thread does not slide, so it has no friction; "
                'leave friction out, or set hold = "sliding" or "geodesic"',
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
        """Return the family with its angle known, on a tube; raise if it cannot be wound there."""
        if self.ring_turn is None:
            return self._checked_on(tube)
        helix = Helix.of_ring(self.ring_turn, tube.outer_radius, tube.length)
        data = self.model_dump(mode="json", exclude_none=True) | {"angle": f"{helix.angle} rad"}
        return self.model_validate(data, context=WITH_ANGLE)._checked_on(tube)

    def _checked_on(self, tube: Tube) -> Self:
        who = f'threads: family "{self.name}"'
        turns = abs(self.helix(tube).ring_turn) / (2 * math.pi)
        if turns > MOST_TURNS:
            raise invalid(
                f"{who} makes {turns:.0f} turns round the tube; "
                f"at most {MOST_TURNS} are allowed: make its angle or the tube smaller"
            )
        if self.slack_strain < LEAST_SLACK:
            raise invalid(
                f'{who}: slack = "{self.slack}" at an angle of {math.degrees(self.angle):.4g} deg '
                f"would stretch it to {1 / (1 + self.slack_strain):.3g} times its length; "
                f"at most {1 / (1 + LEAST_SLACK):.3g} times is allowed: make the "
                "angle smaller or cut the threads at a greater one"
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
        """Return the natural length of a piece that is `length` long on the tube at rest.

        Negative slack counts by the fraction, as :func:`fem.threads.tension.applied_slack` tells.
        """
        return length * (1 + applied_slack(self.slack_strain, prestress_fraction))
