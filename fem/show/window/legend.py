"""The keys of the window: a colour bar to each quantity, and what the marks mean."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fem.show.solids import START
from fem.show.style import INK, MARK, SLACK
from fem.show.window.overlay import Ramp, Stroke, Words, dashes

if TYPE_CHECKING:
    from fem.show.colours import Scale, Scales

BAR = 0.25
WIDTH = 0.015
"""Height and width of a colour bar over those of the window."""


def draw_legend(ground: Any, scales: Scales, left: float) -> None:
    """Draw the keys from `left` on, into the renderer that covers the window."""
    level = 0.93
    for scale in scales:
        Words(ground, (left, level), f"{scale.title} [{scale.unit}]" if scale.unit else scale.title)
        _draw_bar(ground, scale, (left, level - 0.035 - BAR))
        level -= BAR + 0.09
    samples = [("index mark", MARK, 4.0, 1), ("shape at rest", START, 1.5, 1)]
    if scales.tension:
        samples.insert(0, ("no tension", SLACK, 1.5, 4))
    for words, colour, width, count in samples:
        right = left + 0.03
        Stroke(ground, dashes(left, right, level - 0.011, count), colour, width)
        Words(ground, (right + 0.008, level), words)
        level -= 0.034


def _draw_bar(ground: Any, scale: Scale, place: tuple[float, float]) -> None:
    """Draw a colour bar with its ticks; `place` is its lower left corner."""
    left, bottom = place
    Ramp(ground, (left, bottom), (left + WIDTH, bottom + BAR), scale.colours)
    for tick in ticks_of(scale):
        level = bottom + BAR * (tick - scale.low) / (scale.high - scale.low)
        right = left + WIDTH
        Stroke(ground, [((right, level), (right + 0.004, level))], INK, 1.0)
        Words(ground, (right + 0.008, level), f"{tick:g}", 13, "beside")


def ticks_of(scale: Scale) -> list[float]:
    """Return round values on a scale."""
    from matplotlib.ticker import MaxNLocator

    ticks = MaxNLocator(5).tick_values(scale.low, scale.high)
    return [round(float(tick), 9) for tick in ticks if scale.low <= tick <= scale.high]
