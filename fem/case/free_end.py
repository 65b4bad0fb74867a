"""The tables of the free end: its supports, springs and loads, and its motion."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from fem.case.drive import StepCount
from fem.core.schema_base import CheckedTable, invalid, one_of, schema_of_one
from fem.core.units import Angle, SignedForce, SignedLength, SpringRate, Torque, TwistRate


class FreeEnd(CheckedTable):
    """Supports, springs and loads of the free end plate; springs are relaxed at rest."""

    axial: Literal["free", "held"] = Field(
        default="free", description="Whether the plate can move along the axis."
    )
    twist: Literal["free", "held"] = Field(
        default="free", description="Whether the plate can rotate."
    )
    force: SignedForce = Field(
        default="0 N", validate_default=True, description="Dead load; positive pulls."
    )
    torque: Torque = Field(
        default="0 N mm",
        validate_default=True,
        description="Dead torque; positive is counter-clockwise, seen from the free end.",
    )
    axial_spring: SpringRate = Field(
        default="0 N/mm", validate_default=True, description="Rate of a spring along the axis."
    )
    twist_spring: TwistRate = Field(
        default="0 N mm/rad", validate_default=True, description="Rate of a torsional spring."
    )

    def loads(self, direction: str) -> list[str]:
        """Return the keys of the loads along the axis ("axial") or about it ("twist")."""
        keys = ["force", "axial_spring"] if direction == "axial" else ["torque", "twist_spring"]
        return [key for key in keys if getattr(self, key)]

    @model_validator(mode="after")
    def _held_or_loaded(self) -> Self:
        for direction in ("axial", "twist"):
            if getattr(self, direction) == "held" and (keys := self.loads(direction)):
                raise invalid(
                    f'it has no effect with {direction} = "held"; '
                    f'leave {keys[0]} out or set {direction} = "free"',
                    keys[0],
                )
        return self


class Move(CheckedTable):
    """Motion of the free end after the last step of the drive, whose value then stays constant.

    The end is moved along the axis or rotated about it, in equal steps from its position at that
    step to one measured from rest.
    """

    model_config = schema_of_one("displacement", "twist")

    displacement: SignedLength | None = Field(
        default=None, description="Displacement at the last step."
    )
    twist: Angle | None = Field(
        default=None, description="Instead of the displacement: twist at the last step."
    )
    steps: StepCount

    @property
    def direction(self) -> Literal["axial", "twist"]:
        """Along the axis or about it."""
        return "twist" if self.displacement is None else "axial"

    @model_validator(mode="after")
    def _one_direction(self) -> Self:
        one_of(self, "displacement", "twist")
        return self
