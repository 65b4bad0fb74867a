"""The tables of the drive: pressure, added volume or a mass of gas."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from fem.core.schema_base import CheckedTable
from fem.core.units import Mass, Stress, Temperature, Volume, VolumeOrZero

GAS_CONSTANT = 287.05e6
"""Specific gas constant of dry air, N mm/(tonne K): 287.05 J/(kg K) of the standard atmosphere,
ISO 2533; from memory."""


StepCount = Annotated[int, Field(ge=1, le=1000, strict=True, description="Number of equal steps.")]


class Pressure(CheckedTable):
    """The gauge pressure in the bore, raised from zero in equal steps."""

    end: Stress = Field(description="Pressure of the last step.")
    steps: StepCount


class AddedVolume(CheckedTable):
    """A volume of liquid added to the full bore, as by a syringe, in equal steps."""

    added: Volume = Field(description="Volume added by the last step.")
    steps: StepCount


class Gas(CheckedTable):
    r"""A mass of air added to the closed bore and its supply line, in equal steps.

    At rest the air in the bore (volume V_0) and in the line (V_l) is at ambient pressure p_a. With
    the added mass m, at the temperature T of the air outside, the gauge pressure p follows from

    .. math:: (p + p_a) (V + V_l) = p_a (V_0 + V_l) + m R T.

    Source: the ideal gas at constant temperature, elementary.
    """

    mass: Mass = Field(description="Mass of air added by the last step.")
    steps: StepCount
    line_volume: VolumeOrZero = Field(
        default="0 mL", validate_default=True, description="Volume of the supply line."
    )
    ambient: Stress = Field(
        default="101.325 kPa", validate_default=True, description="Absolute pressure outside."
    )
    temperature: Temperature = Field(
        default="293.15 K", validate_default=True, description="Temperature of the air."
    )

    @property
    def gas_product(self) -> float:
        """The product m R T of the mass added by the last step (N mm)."""
        return self.mass * GAS_CONSTANT * self.temperature


type Drive = Pressure | AddedVolume | Gas
