"""What drives a tube, and what its free end meets."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from fem.core.schema_base import Part, misfit, one_of, schema_of_one
from fem.core.units import (
    Angle,
    Mass,
    SignedForce,
    SignedLength,
    SpringRate,
    Stress,
    Temperature,
    Torque,
    TwistRate,
    Volume,
    VolumeOrZero,
)

GAS_CONSTANT = 287.05e6
"""Specific gas constant of dry air, N mm/(tonne K): 287.05 J/(kg K) of the standard atmosphere,
ISO 2533; from memory."""


StepCount = Annotated[int, Field(ge=1, le=1000, strict=True, description="Number of equal steps.")]


class Pressure(Part):
    """The gauge pressure in the bore, raised from zero in equal steps."""

    end: Stress = Field(description="Pressure of the last step.")
    steps: StepCount


class AddedVolume(Part):
    """A volume of liquid pushed into the full bore, as by a syringe, in equal steps."""

    added: Volume = Field(description="Volume pushed in by the last step.")
    steps: StepCount


class Gas(Part):
    r"""A mass of air let into the closed bore and its line, in equal steps.

    At rest the air in the bore (volume V_0) and in the line (V_l) is at ambient pressure p_a. With
    the mass m let in, at the temperature T of the air outside, the gauge pressure p follows from

    .. math:: (p + p_a) (V + V_l) = p_a (V_0 + V_l) + m R T.

    Source: the ideal gas at constant temperature, elementary.
    """

    mass: Mass = Field(description="Mass of air let in by the last step.")
    steps: StepCount
    line_volume: VolumeOrZero = Field(
        default="0 mL", validate_default=True, description="Volume of the line."
    )
    ambient: Stress = Field(
        default="101.325 kPa", validate_default=True, description="Absolute pressure outside."
    )
    temperature: Temperature = Field(
        default="293.15 K", validate_default=True, description="Temperature of the air."
    )

    @property
    def gas_product(self) -> float:
        """The product m R T of the mass let in by the last step (N mm)."""
        return self.mass * GAS_CONSTANT * self.temperature


type Drive = Pressure | AddedVolume | Gas


class FreeEnd(Part):
    """What the free end plate meets; springs are relaxed while the tube is at rest."""

    axial: Literal["free", "held"] = Field(
        default="free", description="Whether the plate moves along the axis."
    )
    twist: Literal["free", "held"] = Field(default="free", description="Whether the plate turns.")
    force: SignedForce = Field(
        default="0 N", validate_default=True, description="Dead load; positive pulls."
    )
    torque: Torque = Field(
        default="0 N mm",
        validate_default=True,
        description="Dead torque; positive turns counter-clockwise, seen from the free end.",
    )
    axial_spring: SpringRate = Field(
        default="0 N/mm", validate_default=True, description="Rate of a spring along the axis."
    )
    twist_spring: TwistRate = Field(
        default="0 N mm/rad", validate_default=True, description="Rate of a torsional spring."
    )

    def loads(self, direction: str) -> list[str]:
        """Return the keys of what acts along the axis ("axial") or round it ("twist")."""
        keys = ["force", "axial_spring"] if direction == "axial" else ["torque", "twist_spring"]
        return [key for key in keys if getattr(self, key)]

    @model_validator(mode="after")
    def _held_or_loaded(self) -> Self:
        for direction in ("axial", "twist"):
            if getattr(self, direction) == "held" and (keys := self.loads(direction)):
                raise misfit(
                    f'{direction} = "held" leaves it nothing to do; '
                    f'leave {keys[0]} out, or set {direction} = "free"',
                    keys[0],
                )
        return self


class Move(Part):
    """After the last step of the drive, which then stands still, the free end is moved.

    It is moved either along the axis or round it, in equal steps from where it then is to a place
    measured from rest.
    """

    model_config = schema_of_one("displacement", "twist")

    displacement: SignedLength | None = Field(
        default=None, description="Displacement at the last step."
    )
    twist: Angle | None = Field(
        default=None, description="In place of the displacement: twist at the last step."
    )
    steps: StepCount

    @property
    def direction(self) -> Literal["axial", "twist"]:
        """Along the axis or round it."""
        return "twist" if self.displacement is None else "axial"

    @model_validator(mode="after")
    def _one_direction(self) -> Self:
        one_of(self, "displacement", "twist")
        return self
