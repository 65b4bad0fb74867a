"""Style of all figures: sizes, colours, grid, and the lines and markers of the models."""

from __future__ import annotations

from typing import Any, NamedTuple

from fem.scene.appearance import MODEL_TITLES
from fem.wording.picture_text import DEFAULT_FONT, INK, TITLE_SIZE

PALE, FRAME = "#d9d9d9", "#7f7f7f"

SIZE, SMALL_SIZE = 9.0, 8.5
"""Font sizes (pt): labels and titles of panels; ticks, legend and notes."""

PAD = 0.06
"""Padding (in)."""

ROUND_OFF = 1e-6
"""Smaller values (deg, mm, N or N mm) are round-off."""

ZERO: dict[str, Any] = {"color": FRAME, "linewidth": 0.9}
"""The line at zero."""

STYLE: Any = {
    "font.family": DEFAULT_FONT,
    "font.size": SIZE,
    "text.color": INK,
    "text.parse_math": False,
    "axes.labelcolor": INK,
    "axes.labelsize": SIZE,
    "axes.titlesize": SIZE,
    "axes.titlelocation": "left",
    "axes.titlepad": 4.0,
    "axes.edgecolor": FRAME,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": PALE,
    "grid.linewidth": 0.6,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": SMALL_SIZE,
    "ytick.labelsize": SMALL_SIZE,
    "xtick.major.size": 3.0,
    "ytick.major.size": 3.0,
    "legend.fontsize": SMALL_SIZE,
    "legend.frameon": False,
    "legend.labelcolor": INK,
    "legend.borderpad": 0.0,
    "figure.constrained_layout.w_pad": PAD,
    "figure.constrained_layout.h_pad": PAD,
    "figure.constrained_layout.hspace": 0.0,
    "figure.titlesize": TITLE_SIZE,
    "figure.titleweight": "bold",
}
"""Settings of matplotlib for the figures; those of the process are not changed."""


class ModelStyle(NamedTuple):
    """Style of the curves of a model: colour, line and marker each identify the model."""

    label: str
    color: str
    line: Any
    marker: str
    size: float


STYLES = {
    "fe": ModelStyle(MODEL_TITLES["fe"], "#0072b2", "-", "o", 4.5),
    "fast": ModelStyle(MODEL_TITLES["fast"], "#d55e00", (0, (5, 2)), "D", 3.0),
}
"""The colours differ for each kind of colour blindness, and in greyscale."""
