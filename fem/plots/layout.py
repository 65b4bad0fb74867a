"""The one layout of all figures: title, panels in rows, colour bar, keys and notes below.

matplotlib's constrained layout places everything. What it leaves open is done here: text is broken
to the width of its panel or of the figure, and the height of the figure follows from the wanted
shape of its panels.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.cm import ScalarMappable
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.ticker import MaxNLocator

from fem.plots.style import PAD, SIZE, SMALL_SIZE, STYLE
from fem.wording.picture_text import (
    DPI,
    GREY,
    font_families,
    no_glyph_warnings,
    save_figure,
    text_width,
    title_lines,
    wrapped,
)

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

    from fem.plots.scale import Scale

type Keys = dict[str, Artist]
"""What a panel has drawn that needs a word: the word, and a sample of it."""

type Limits = tuple[tuple[float, float], tuple[float, float]]

NARROWEST, WIDEST = 5.5, 9.0
"""Width of a figure (in); at 800 pixels the smallest letters of the widest are 10 pixels high."""

BESIDE = 1.1
"""Room at the left of the panels, and again at the right for a colour bar, about (in)."""

NEAR, ROUNDS = 0.01, 5
"""Share of its height by which a panel may differ from what is wanted, and rounds to find it."""

NOTE_LINES = 6
"""Lines of a note; a longer one ends in an ellipsis."""


class Panel(NamedTuple):
    """Axes of a figure.

    Attributes
    ----------
    words
        What is said above it, a line or more to each.
    draw
        Draws into the axes and returns the keys.
    finish
        Called with the axes once they have their final size.
    """

    words: Sequence[str]
    draw: Callable[[Axes], Keys]
    finish: Callable[[Axes], None] | None = None


@dataclass(frozen=True)
class FigureLayout:
    """What a figure shows and says.

    Attributes
    ----------
    title, heading, notes
        Bold and plain text above the panels, and sentences below.
    panels, columns
        The panels row by row, None for a place that stays empty, and how many are side by side.
    across, up, limits
        Labels and ranges of the axes if all panels share them: then only the outer ones are named.
    ratio, tall
        Height of a panel over its width; or its height (in). Those of the first row.
    heights
        Heights of the rows over that of the first; empty if they are equal.
    widest
        Width of a panel at most (in).
    scale
        The colours that all panels share, if any.
    """

    title: str
    panels: Sequence[Panel | None]
    columns: int
    heading: str = ""
    notes: Sequence[str] = ()
    across: str = ""
    up: str = ""
    limits: Limits | None = None
    ratio: float = 0.85
    tall: float = 0.0
    heights: Sequence[float] = ()
    widest: float = 3.9
    scale: Scale | None = None

    @property
    def width(self) -> float:
        """Width of the figure (in)."""
        beside = BESIDE * (2 if self.scale else 1)
        return min(max(self.columns * self.widest + beside, NARROWEST), WIDEST)

    def figure(self, *, words: bool = True) -> Figure:
        """Return the figure, drawn; without title, heading and notes if not `words`."""
        rows = math.ceil(len(self.panels) / self.columns)
        heights = self.heights or [1.0] * rows
        with rc_context(STYLE), no_glyph_warnings():
            tall = self.tall or self.ratio * self.width / self.columns
            rough = sum(heights) * tall + 2 * rows + 4
            figure = Figure((self.width, rough), DPI, layout="constrained")
            FigureCanvasAgg(figure)
            body: Any = figure.subfigures()  # has the legend, so that the notes are below it
            grid = body.subplots(rows, self.columns, squeeze=False, height_ratios=heights)
            axes: dict[int, Axes] = {}
            keys: Keys = {}
            for number, place in enumerate(grid.flat):
                panel = self.panels[number] if number < len(self.panels) else None
                if panel is None:
                    place.remove()
                    continue
                axes[number] = place
                keys |= self._draw(place, panel, number)
            if self.scale:
                _draw_bar(body, list(axes.values()), self.scale, rows)
            if keys:
                _draw_keys(body, keys, self.width)
            if words:
                self._write(figure, body)
            _set_fonts(figure)
            _fit(figure, next(iter(axes.values())), self.tall, self.ratio, sum(heights))
            for number, place in axes.items():
                if finish := self.panels[number].finish:  # type: ignore[union-attr]
                    finish(place)
        return figure

    def _draw(self, axes: Axes, panel: Panel, number: int) -> Keys:
        """Draw a panel; name its axes, if all share them, where no panel is below or left of it."""
        axes.set_title("\n".join(panel.words))
        steps = [1, 1.5, 2, 3, 5, 10] if self.limits else [1, 2, 2.5, 5, 10]
        for axis, most in ((axes.xaxis, 6), (axes.yaxis, 7)):
            axis.set_major_locator(MaxNLocator(4 if self.columns > 3 else most, steps=steps))
        if self.limits:
            axes.set(xlim=self.limits[0], ylim=self.limits[1])
        keys = panel.draw(axes)
        if self.limits:
            below, beside = number + self.columns < len(self.panels), number % self.columns > 0
            axes.set(xlabel="" if below else self.across, ylabel="" if beside else self.up)
            axes.tick_params(labelbottom=not below, labelleft=not beside)
        return keys

    def _write(self, figure: Figure, body: Any) -> None:
        """Write title and heading above, and the notes below."""
        left, room = PAD / self.width, self.width - 3 * PAD
        style: dict[str, Any] = {"x": left, "ha": "left"}
        if title := title_lines(self.title, room):
            figure.suptitle("\n".join(title), **style)
        if self.heading:
            heading = "\n".join(wrapped(self.heading, room, SIZE))
            body.suptitle(heading, size=SIZE, weight="normal", **style)
        lines = [
            line
            for note in self.notes
            for line in wrapped(note, room, SMALL_SIZE, lines=NOTE_LINES)
        ]
        if lines:
            style |= {"size": SMALL_SIZE, "weight": "normal", "color": GREY, "linespacing": 1.25}
            figure.supxlabel("\n".join(lines), **style)


def _draw_bar(body: Any, axes: list[Axes], scale: Scale, rows: int) -> None:
    """Draw the colour bar of all panels."""
    style: dict[str, Any] = {"extend": scale.extend, "extendfrac": 0.04, "aspect": 16 * rows}
    style |= {"spacing": "proportional", "ticks": scale.ticks, "label": scale.label, "pad": 0.02}
    bar = body.colorbar(ScalarMappable(**scale.colouring), ax=axes, **style)
    bar.ax.set_label("bar")
    bar.minorticks_off()
    bar.outline.set_visible(False)


def _draw_keys(body: Any, keys: Keys, width: float) -> None:
    """Draw the legend below the panels, in as many columns as there is room for."""
    labels = ["\n".join(wrapped(words, width - 1.0, SMALL_SIZE)) for words in keys]
    widest = 0.6 + max(text_width(line, SMALL_SIZE) for text in labels for line in text.split("\n"))
    rows = math.ceil(len(keys) / max(1, int((width - 4 * PAD) / widest)))
    columns = math.ceil(len(keys) / rows)
    body.legend([*keys.values()], labels, loc="outside lower left", ncols=columns)


def _set_fonts(figure: Figure) -> None:
    """Find fonts for all letters."""
    texts: Any = figure.findobj(Text)
    if len(fonts := font_families("".join(text.get_text() for text in texts))) > 1:
        for text in texts:
            text.set_fontfamily(fonts)


def _fit(figure: Figure, panel: Axes, tall: float, ratio: float, rows: float) -> None:
    """Break labels to the size of their panels, give the figure its height, and fix the layout.

    Widths depend on the height a little, as a colour bar is the thicker the higher it is.
    """
    engine: Any = figure.get_layout_engine()
    engine.execute(figure)
    width, height = _size(panel)
    wanted = tall or ratio * width
    broken = False
    for axes in figure.axes:
        wide, high = _size(axes)
        for put, text, room in (
            (axes.set_title, axes.get_title(loc="left"), wide),
            (axes.set_xlabel, axes.get_xlabel(), wide),
            (axes.set_ylabel, axes.get_ylabel(), high * wanted / height),
        ):
            lines = "\n".join(_broken(text, room))
            put(lines)
            broken |= lines != text
    if broken:
        engine.execute(figure)
        width, height = _size(panel)
        wanted = tall or ratio * width
    missing = wanted - height
    for _ in range(ROUNDS):
        figure.set_figheight(figure.get_figheight() + rows * missing)
        engine.execute(figure)
        width, height = _size(panel)
        missing = (tall or ratio * width) - height
        if abs(missing) < NEAR * height:
            break
    figure.set_layout_engine("none")


def _size(axes: Axes) -> tuple[float, float]:
    """Return width and height (in)."""
    box = axes.get_window_extent()
    return box.width / DPI, box.height / DPI


def _broken(text: str, width: float) -> list[str]:
    return [line for part in text.split("\n") for line in wrapped(part, width, SIZE)]


def save_figures(
    figures: Mapping[str, FigureLayout], folder: Path, known: Iterable[str]
) -> list[Path]:
    """Write figures as PNG files, by their stems, and return the files.

    Those of the `known` stems that are there already, of another result, are removed.

    Raises
    ------
    OSError
        If one cannot be written.
    """
    files = []
    for name, layout in figures.items():
        files.append(folder / f"{name}.png")
        save_figure(layout.figure(), files[-1])
    for name in set(known) - set(figures):
        (folder / f"{name}.png").unlink(missing_ok=True)
    return files
