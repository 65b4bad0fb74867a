"""The table of the elastomer tube."""

from __future__ import annotations

from pydantic import Field

from fem.core.schema_base import CheckedTable
from fem.core.units import Length


class Tube(CheckedTable):
    """The elastomer tube at rest, between the end plates."""

    bore_radius: Length = Field(description="Radius of the bore.")
    wall: Length = Field(description="Thickness of the wall.")
    length: Length = Field(description="Length between the end plates.")

    @property
    def outer_radius(self) -> float:
        """Outer radius (mm)."""
        return self.bore_radius + self.wall
