"""Appearance and labels of the drawn parts, the same in windows, files, browsers and reports."""

from __future__ import annotations

type Colour = tuple[float, float, float]

AMBIENT = {
    "wall": 0.86,
    "translucent": 0.5,
    "bore": 0.86,
    "cut": 0.92,
    "threads": 0.86,
    "plates": 0.5,
    "marks": 0.75,
    "start": 0.8,
}
"""Share of the light that is ambient, by role: shading does not change this share of the colour.

For parts coloured by a value it is so large that the palest colour in the deepest shade is still
lighter than the strongest one in full light: values can be read from the colour bar.
"""

LIGHT = (-0.37, 0.37, 0.85)
"""Direction of the lamp: right, up, towards the viewer; so it is at the upper left."""

TRANSLUCENT: Colour = (0.62, 0.61, 0.60)
TRANSLUCENT_OPACITY = 0.55
"""Colour and opacity of a wall that shows the threads behind it: role ``"translucent"``."""

HIDDEN_OPACITY = 0.35
"""Opacity of the shape at rest where something hides it."""

MARK: Colour = (0.757, 0.071, 0.122)
START: Colour = (0.45, 0.50, 0.56)
"""Colours of the index marks and of the shape at rest; red, green, blue from 0 to 1."""

NO_TENSION_TITLE = "no tension"
MARK_TITLE = "index marks"
START_TITLE = "shape at rest"
"""Legend labels of threads without tension, index marks and the wire of the shape at rest."""

MODEL_TITLES = {"fe": "FE model", "fast": "fast model", "bench": "measurements"}
"""Titles of the models, and of measurements beside them."""
