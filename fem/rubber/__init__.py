"""Rubber laws, one file each; a new one joins the union `AnyRubber` and is known everywhere."""

from typing import Annotated

from pydantic import Field

from fem.rubber.gent import Gent
from fem.rubber.law import Rubber
from fem.rubber.mooney_rivlin import MooneyRivlin
from fem.rubber.neo_hookean import NeoHookean
from fem.rubber.ogden import Ogden
from fem.rubber.yeoh import Yeoh

AnyRubber = Annotated[NeoHookean | MooneyRivlin | Yeoh | Gent | Ogden, Field(discriminator="law")]

__all__ = ["AnyRubber", "Gent", "MooneyRivlin", "NeoHookean", "Ogden", "Rubber", "Yeoh"]
