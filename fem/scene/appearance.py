"""How parts look and what they are called, in windows, files, browsers and reports alike."""

from __future__ import annotations

type Colour = tuple[float, float, float]

AMBIENT = {
    "wall": 0.86,
    "veil": 0.5,
    "bore": 0.86,
    "cut": 0.92,
    "threads": 0.86,
    "plates": 0.5,
    "marks": 0.75,
    "start": 0.8,
}
"""Share of its colour that no shade takes from a part, by role.

What is coloured by a value keeps so much of it that the palest colour in the deepest shade is still
lighter than the strongest one in full light: its lightness can be read as on the colour bar.
"""

LIGHT = (-0.37, 0.37, 0.85)
"""Where the light comes from: to the right, up, towards the viewer; so from the upper left."""

VEIL: Colour = (0.62, 0.61, 0.60)
VEIL_OPACITY = 0.55
"""Colour and opacity of a wall through which the threads behind it show: role ``"veil"``."""

BEHIND = 0.35
"""Opacity of the shape at rest where it is behind something."""

MARK: Colour = (0.757, 0.071, 0.122)
START: Colour = (0.45, 0.50, 0.56)
"""Colours of the index marks and of the shape at rest; red, green, blue from 0 to 1."""

NO_TENSION_TITLE = "no tension"
MARK_TITLE = "index marks"
START_TITLE = "shape at rest"
"""What keys call threads without tension, the index marks and the wire of the shape at rest."""

MODEL_TITLES = {"fe": "FE model", "fast": "fast model", "bench": "bench"}
"""How the models are headed."""
