"""Rubber laws, one file each, and the library of materials."""

from fem.rubber.gent import Gent
from fem.rubber.law import Rubber
from fem.rubber.mooney_rivlin import MooneyRivlin
from fem.rubber.neo_hookean import NeoHookean
from fem.rubber.ogden import Ogden
from fem.rubber.yeoh import Yeoh

__all__ = ["Gent", "MooneyRivlin", "NeoHookean", "Ogden", "Rubber", "Yeoh"]
