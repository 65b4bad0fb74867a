"""The keys at the right of the page: threads, colour bars, and what the marks mean."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from matplotlib.cm import ScalarMappable
from matplotlib.colors import ListedColormap, Normalize
from matplotlib.ticker import MaxNLocator

from fem.show.colours import Scale, Scales
from fem.show.marks import draw_families
from fem.show.solids import START
from fem.show.stage import family_room
from fem.show.still.readouts import same_threads
from fem.show.style import INK, MARK, SLACK

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from fem.show.exhibit import Exhibit
    from fem.show.still.stand import Stand

WIDTH = 2.5
"""Width of the column (in)."""

BAR = 1.15
"""Length of a colour bar (in)."""

INDENT = 0.42
"""From a sample to its words (in)."""


HEAD, GAP, LINE = 0.22, 0.25, 0.25
"""Height of a bar's title, room below a bar, height of a sample (in)."""


def room(exhibits: Sequence[Exhibit]) -> float:
    """Return the height that the keys take at most, without the title of the page (in)."""
    families = sum(map(family_room, exhibits[0].case.threads)) if same_threads(exhibits) else 0.0
    return 0.5 + max(families, 0.3) + 0.1 + 2 * (HEAD + BAR + GAP) + 4 * LINE


def draw_keys(figure: Figure, page: Axes, stand: Stand, scales: Scales, *, start: bool) -> None:
    """Draw the column with the keys; `start` if the shape at rest is in the picture."""
    width, height = stand.page
    x, y = width - WIDTH + 0.3, height - 0.5 - 0.22 * len(stand.title)
    if same_threads(stand.exhibits):
        y = draw_families(page, stand.exhibits[0].case.threads, x, y)
    for scale in scales:
        _print(page, x, y, f"{scale.title} [{scale.unit}]" if scale.unit else scale.title)
        place = (x / width, (y - HEAD - BAR) / height, 0.17 / width, BAR / height)
        _draw_colour_bar(figure, scale, place)
        y -= HEAD + BAR + GAP
    _draw_samples(page, x, y, threads=scales.tension is not None, start=start)


def _draw_samples(page: Axes, x: float, y: float, *, threads: bool, start: bool) -> None:
    """Say what threads without tension, index marks and the shape at rest look like."""
    samples: list[tuple[str, dict[str, Any]]] = []
    if threads:
        samples.append(("thread without tension", {"color": SLACK, "lw": 1.1, "ls": (0, (4, 3))}))
    samples.append(("index marks", {"color": MARK, "lw": 3, "solid_capstyle": "butt"}))
    samples.append(("free end's mark at rest", {"color": MARK, "lw": 1.0, "ls": (0, (2, 1.5))}))
    if start:
        samples.append(("shape at rest", {"color": START, "lw": 0.8}))
    for words, look in samples:
        page.plot([x, x + 0.28], [y - 0.08] * 2, **look)
        _print(page, x + INDENT, y, words)
        y -= LINE


def _draw_colour_bar(
    figure: Figure, scale: Scale, place: tuple[float, float, float, float]
) -> None:
    """Draw the colour bar of a quantity at a place of the page: left, bottom, width, height."""
    colours = ListedColormap(scale.colours / 255)
    shades = ScalarMappable(Normalize(scale.low, scale.high), colours)
    bar = figure.colorbar(shades, cax=figure.add_axes(place), ticks=MaxNLocator(5))
    bar.ax.tick_params(labelsize=8.5, colors=INK)
    bar.outline.set_visible(False)


def _print(page: Axes, x: float, y: float, text: str) -> None:
    page.text(x, y, text, va="top", size=9, color=INK, parse_math=False)
