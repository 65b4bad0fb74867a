"""Rubber laws, one file each; a new one joins the union `AnyRubber` and is known everywhere."""

from typing import Annotated

from pydantic import Field

from fem.rubber.law import Rubber
from fem.rubber.mooney_rivlin import MooneyRivlin
from fem.rubber.neo_hookean import NeoHookean

AnyRubber = Annotated[NeoHookean | MooneyRivlin, Field(discriminator="law")]

__all__ = ["AnyRubber", "MooneyRivlin", "NeoHookean", "Rubber"]
