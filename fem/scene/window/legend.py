"""The keys of the window: a colour bar to each quantity, and what the marks mean."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from fem.scene.appearance import MARK, MARK_TITLE, NO_TENSION_TITLE, START, START_TITLE
from fem.scene.solids import NO_TENSION
from fem.scene.still.keys import ticks_of
from fem.scene.window.overlay import Ramp, Stroke, Words, dashes
from fem.wording.picture_text import INK

if TYPE_CHECKING:
    from fem.scene.colours import Scale, Scales

BAR = 0.25
WIDTH = 0.015
"""Height and width of a colour bar over those of the window."""


class Sample(NamedTuple):
    """What a line of the picture looks like, and its name."""

    stroke: Stroke
    words: Words

    def show(self, shown: bool) -> None:
        """Show it, or not."""
        self.stroke.show(shown)
        self.words.show(shown)


def draw_legend(ground: Any, scales: Scales, left: float) -> dict[str, Sample]:
    """Draw the keys from `left` on, into the renderer that covers the window.

    Return the samples of lines by their names.
    """
    level = 0.93
    for scale in scales:
        Words(ground, (left, level), f"{scale.title} [{scale.unit}]" if scale.unit else scale.title)
        _draw_bar(ground, scale, (left, level - 0.035 - BAR))
        level -= BAR + 0.09
    samples = [(MARK_TITLE, MARK, 4.0, 1), (START_TITLE, START, 1.5, 1)]
    if scales.tension:
        samples.insert(0, (NO_TENSION_TITLE, NO_TENSION, 1.5, 4))
    drawn = {}
    for title, colour, width, count in samples:
        right = left + 0.03
        stroke = Stroke(ground, dashes(left, right, level - 0.011, count), colour, width)
        drawn[title] = Sample(stroke, Words(ground, (right + 0.008, level), title))
        level -= 0.034
    return drawn


def _draw_bar(ground: Any, scale: Scale, place: tuple[float, float]) -> None:
    """Draw a colour bar with its ticks; `place` is its lower left corner."""
    left, bottom = place
    Ramp(ground, (left, bottom), (left + WIDTH, bottom + BAR), scale.colours)
    for tick in ticks_of(scale):
        level = bottom + BAR * (tick - scale.low) / (scale.high - scale.low)
        right = left + WIDTH
        Stroke(ground, [((right, level), (right + 0.004, level))], INK, 1.0)
        Words(ground, (right + 0.008, level), f"{tick:g}", 13, "beside")
