"""The page of a picture: title, panels in blocks, a colour bar to each, keys and notes below."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from fem.plots.curves import PALE
from fem.plots.study.scale import Scale
from fem.wording.picture_text import GREY, INK, TITLE_SIZE, title_lines, write
from fem.wording.text_fit import fitted

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

type Keys = dict[str, Artist]
"""What a panel has drawn that needs a word: the word, and a sample of it."""

type Place = tuple[Axes, tuple[float, float, float, float]]
"""Axes, and where they belong: left, down from the upper edge, width, height (in)."""

type Limits = tuple[tuple[float, float], tuple[float, float]]

WIDEST, NARROWEST = 10.5, 7.0
"""Width of a page (in)."""

LEFT, BETWEEN, RIGHT, BAR = 0.85, 0.28, 0.25, 1.15
"""Room left of the panels, between and right of them, and for a colour bar (in)."""

WIDE = 3.9
"""Width of a panel at most (in)."""

FOOT = 0.75
"""Room below a block (in)."""

SKETCH = 10.0
"""Height of the page before it is known (in)."""

MARGIN = 0.3
"""Room left of what is printed (in)."""


@dataclass(frozen=True)
class Panel:
    """A pair of axes: what is said above it, and what draws into it."""

    words: Sequence[str]
    draw: Callable[[Axes], Keys]


@dataclass(frozen=True)
class Block:
    """Panels that share their axes and colours.

    Attributes
    ----------
    panels, columns
        The panels, row by row, and how many stand abreast.
    across, up
        What the axes are.
    limits
        Their ranges.
    ratio
        Height of a panel to its width.
    scale
        What the colours mean, where they mean something.
    left
        Room left of the panels (in).
    widest
        Width of a panel at most (in).
    """

    panels: Sequence[Panel]
    columns: int
    across: str
    up: str
    limits: Limits
    ratio: float = 0.85
    scale: Scale | None = None
    left: float = LEFT
    widest: float = WIDE

    @property
    def right(self) -> float:
        """Room right of the panels (in)."""
        return BAR if self.scale else RIGHT

    @property
    def wide(self) -> float:
        """Width of a panel (in)."""
        room = WIDEST - self.left - self.right - BETWEEN * (self.columns - 1)
        return min(self.widest, room / self.columns)

    @property
    def tall(self) -> float:
        """Height of a panel (in)."""
        return self.wide * self.ratio

    @property
    def width(self) -> float:
        """Width of all (in)."""
        return self.left + self.columns * (self.wide + BETWEEN) - BETWEEN + self.right

    @cached_property
    def heads(self) -> list[list[str]]:
        """What stands above each panel, in lines."""
        return [
            [line for words in panel.words for line in fitted(words, self.wide, 9)]
            for panel in self.panels
        ]

    @property
    def head(self) -> float:
        """Room above each panel (in)."""
        return 0.12 + 0.16 * max(map(len, self.heads))

    @property
    def rows(self) -> int:
        """Rows of panels."""
        return math.ceil(len(self.panels) / self.columns)

    @property
    def height(self) -> float:
        """Height of all (in)."""
        return self.rows * (self.head + self.tall) + (self.rows - 1) * 0.05 + FOOT


@dataclass(frozen=True)
class Sheet:
    """All that goes onto a page."""

    title: str
    heading: str
    blocks: Sequence[Block]
    notes: Sequence[str] = field(default=())

    def figure(self) -> Figure:
        """Return the page; as tall as its panels, keys and notes want it."""
        width = max(NARROWEST, *(block.width for block in self.blocks))
        title = title_lines(self.title, width - 0.8)
        heading = fitted(self.heading, width - 2 * MARGIN, 9.5)
        notes = [
            line for note in self.notes for line in fitted(note, width - 2 * MARGIN, 8.5, lines=3)
        ]
        figure = Figure(figsize=(width, SKETCH))
        level = 0.32 + 0.22 * len(title) + 0.17 * len(heading)
        places: list[Place] = []
        keys: Keys = {}
        for block in self.blocks:
            keys |= _draw_block(figure, block, level, places)
            level += block.height
        columns = 3 if width > 9 else 2
        rows = math.ceil(len(keys) / columns)
        height = level + 0.21 * rows + 0.17 * len(notes) + 0.15
        figure.set_figheight(height)
        for axes, (left, top, wide, tall) in places:
            box = left / width, 1 - (top + tall) / height, wide / width, tall / height
            axes.set_position(box)
        _print(figure, 0.18, "\n".join(title), size=TITLE_SIZE, weight="bold")
        _print(figure, 0.18 + 0.22 * len(title), "\n".join(heading), size=9.5)
        _print(figure, level + 0.21 * rows + 0.03, "\n".join(notes), size=8.5, color=GREY)
        _draw_keys(figure, keys, level, columns)
        return figure


def _print(figure: Figure, down: float, text: str, **style: Any) -> None:
    """Print plain text so far below the upper edge (in); a dollar in it starts no formula."""
    place = MARGIN / figure.get_figwidth(), 1 - down / figure.get_figheight()
    write(figure, *place, text, **style)


def _draw_keys(figure: Figure, keys: Keys, down: float, columns: int) -> None:
    if not keys:
        return
    place = (MARGIN - 0.05) / figure.get_figwidth(), 1 - down / figure.get_figheight()
    figure.legend(
        list(keys.values()),
        list(keys),
        loc="upper left",
        bbox_to_anchor=place,
        borderaxespad=0,
        borderpad=0,
        ncols=columns,
        frameon=False,
        fontsize=8.5,
        labelcolor=INK,
    )


def _draw_block(figure: Figure, block: Block, top: float, places: list[Place]) -> Keys:
    """Draw a block from `top` (in) downwards; add where its axes belong, return its keys."""
    keys: Keys = {}
    for number, (panel, head) in enumerate(zip(block.panels, block.heads, strict=True)):
        row, column = divmod(number, block.columns)
        left = block.left + column * (block.wide + BETWEEN)
        down = top + block.head + row * (block.tall + block.head + 0.05)
        box = block.wide / figure.get_figwidth(), block.tall / SKETCH
        axes = figure.add_axes((0, 0, *box), label=" | ".join(panel.words))
        places.append((axes, (left, down, block.wide, block.tall)))
        _dress(axes, block, number)
        axes.set_title("\n".join(head), loc="left", size=9, color=INK, pad=4, parse_math=False)
        keys |= panel.draw(axes)
    if block.scale:
        left = block.left + block.columns * (block.wide + BETWEEN) - 0.08
        tall = min(block.rows * (block.tall + block.head + 0.05) - block.head - 0.05, 5.0)
        bar_axes = figure.add_axes((0, 0, 0.01, 0.5), label="bar")
        places.append((bar_axes, (left, top + block.head, 0.17, tall)))
        _draw_bar(figure, bar_axes, block.scale)
    return keys


def _draw_bar(figure: Figure, axes: Axes, scale: Scale) -> None:
    style: dict[str, Any] = {"spacing": "proportional", "ticks": scale.ticks}
    style |= {"extend": scale.extend, "extendfrac": 0.04}
    bar = figure.colorbar(scale.mappable, cax=axes, **style)
    bar.set_label(scale.label, color=INK, size=9)
    bar.ax.tick_params(labelsize=8.5, colors=INK)
    bar.minorticks_off()
    bar.outline.set_visible(False)


def _dress(axes: Axes, block: Block, number: int) -> None:
    """Give a panel its ranges, and its labels if nothing stands below or left of it."""
    axes.set_xlim(*block.limits[0])
    axes.set_ylim(*block.limits[1])
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MaxNLocator(6, steps=[1, 1.5, 2, 3, 5, 10]))
    below = number + block.columns < len(block.panels)
    if below:
        axes.tick_params(labelbottom=False)
    else:
        lines = fitted(block.across, block.wide, 9)
        axes.set_xlabel("\n".join(lines), color=INK, size=9, parse_math=False)
    if number % block.columns:
        axes.tick_params(labelleft=False)
    else:
        lines = fitted(block.up, block.tall, 9)
        axes.set_ylabel("\n".join(lines), color=INK, size=9, parse_math=False)
    axes.tick_params(colors=INK, labelsize=8.5, length=3)
    axes.grid(color=PALE, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines[:].set_color("#7f7f7f")
