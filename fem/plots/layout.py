"""The layout of all figures: title, panels in rows, colour bar, legend and notes below.

matplotlib's constrained layout places the parts. This module wraps text to the width of its panel
or figure, and sets the height of the figure from the requested shape of its panels.
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
"""Legend entries of a panel: the label, and a sample of what is drawn."""

type Limits = tuple[tuple[float, float], tuple[float, float]]

MIN_WIDTH, MAX_WIDTH = 5.5, 9.0
"""Width of a figure (in); the widest shown at 800 pixels has characters of at least 10 pixels."""

SIDE_SPACE = 1.1
"""Approximate space left of the panels, and right of them for a colour bar (in)."""

HEIGHT_TOLERANCE, MAX_ROUNDS = 0.01, 5
"""Allowed relative error of the height of a panel, and most iterations to meet it."""

NOTE_LINES = 6
"""Most lines of a note; a longer one ends in an ellipsis."""


class Panel(NamedTuple):
    """Axes of a figure.

    Attributes
    ----------
    title
        Parts of its title, each on one line or more.
    draw
        Draws into the axes and returns the legend entries.
    finish
        Called with the axes once they have their final size.
    """

    title: Sequence[str]
    draw: Callable[[Axes], Keys]
    finish: Callable[[Axes], None] | None = None


@dataclass(frozen=True)
class FigureLayout:
    """Contents of a figure.

    Attributes
    ----------
    title, heading, notes
        Bold and plain text above the panels, and sentences below.
    panels, columns
        The panels row by row, None for an empty place, and the number of columns.
    x_label, y_label, limits
        Labels and ranges of the axes if all panels share them: then only outer axes are labelled.
    ratio, panel_height
        Height of a panel over its width; or its height (in). Of the first row.
    heights
        Heights of the rows over that of the first; empty if they are equal.
    panel_width
        Greatest width of a panel (in).
    scale
        Colour scale that all panels share, if any.
    """

    title: str
    panels: Sequence[Panel | None]
    columns: int
    heading: str = ""
    notes: Sequence[str] = ()
    x_label: str = ""
    y_label: str = ""
    limits: Limits | None = None
    ratio: float = 0.85
    panel_height: float = 0.0
    heights: Sequence[float] = ()
    panel_width: float = 3.9
    scale: Scale | None = None

    @property
    def width(self) -> float:
        """Width of the figure (in)."""
        sides = SIDE_SPACE * (2 if self.scale else 1)
        return min(max(self.columns * self.panel_width + sides, MIN_WIDTH), MAX_WIDTH)

    def figure(self, *, text: bool = True) -> Figure:
        """Return the drawn figure; without title, heading and notes if not `text`."""
        rows = math.ceil(len(self.panels) / self.columns)
        heights = self.heights or [1.0] * rows
        with rc_context(STYLE), no_glyph_warnings():
            height = self.panel_height or self.ratio * self.width / self.columns
            first_guess = sum(heights) * height + 2 * rows + 4
            figure = Figure((self.width, first_guess), DPI, layout="constrained")
            FigureCanvasAgg(figure)
            body: Any = figure.subfigures()  # with the legend, so that the notes are below it
            grid = body.subplots(rows, self.columns, squeeze=False, height_ratios=heights)
            axes: dict[int, Axes] = {}
            keys: Keys = {}
            for number, cell in enumerate(grid.flat):
                panel = self.panels[number] if number < len(self.panels) else None
                if panel is None:
                    cell.remove()
                    continue
                axes[number] = cell
                keys |= self._draw(cell, panel, number)
            if self.scale:
                _draw_bar(body, list(axes.values()), self.scale, rows)
            if keys:
                _draw_keys(body, keys, self.width)
            if text:
                self._write(figure, body)
            _set_fonts(figure)
            _fit(figure, next(iter(axes.values())), self.panel_height, self.ratio, sum(heights))
            for number, cell in axes.items():
                if finish := self.panels[number].finish:  # type: ignore[union-attr]
                    finish(cell)
        return figure

    def _draw(self, axes: Axes, panel: Panel, number: int) -> Keys:
        """Draw a panel; label shared axes only where no panel is below or left of it."""
        axes.set_title("\n".join(panel.title))
        steps = [1, 1.5, 2, 3, 5, 10] if self.limits else [1, 2, 2.5, 5, 10]
        for axis, most in ((axes.xaxis, 6), (axes.yaxis, 7)):
            axis.set_major_locator(MaxNLocator(4 if self.columns > 3 else most, steps=steps))
        if self.limits:
            axes.set(xlim=self.limits[0], ylim=self.limits[1])
        keys = panel.draw(axes)
        if self.limits:
            below, left = number + self.columns < len(self.panels), number % self.columns > 0
            axes.set(xlabel="" if below else self.x_label, ylabel="" if left else self.y_label)
            axes.tick_params(labelbottom=not below, labelleft=not left)
        return keys

    def _write(self, figure: Figure, body: Any) -> None:
        """Write title and heading above, and the notes below."""
        left, width = PAD / self.width, self.width - 3 * PAD
        style: dict[str, Any] = {"x": left, "ha": "left"}
        if title := title_lines(self.title, width):
            figure.suptitle("\n".join(title), **style)
        if self.heading:
            heading = "\n".join(wrapped(self.heading, width, SIZE))
            body.suptitle(heading, size=SIZE, weight="normal", **style)
        lines = [
            line
            for note in self.notes
            for line in wrapped(note, width, SMALL_SIZE, lines=NOTE_LINES)
        ]
        if lines:
            style |= {"size": SMALL_SIZE, "weight": "normal", "color": GREY, "linespacing": 1.25}
            figure.supxlabel("\n".join(lines), **style)


def _draw_bar(body: Any, axes: list[Axes], scale: Scale, rows: int) -> None:
    """Draw the colour bar that all panels share."""
    style: dict[str, Any] = {"extend": scale.extend, "extendfrac": 0.04, "aspect": 16 * rows}
    style |= {"spacing": "proportional", "ticks": scale.ticks, "label": scale.label, "pad": 0.02}
    bar = body.colorbar(ScalarMappable(**scale.colouring), ax=axes, **style)
    bar.ax.set_label("bar")
    bar.minorticks_off()
    bar.outline.set_visible(False)


def _draw_keys(body: Any, keys: Keys, width: float) -> None:
    """Draw the legend below the panels, in as many columns as fit."""
    labels = ["\n".join(wrapped(words, width - 1.0, SMALL_SIZE)) for words in keys]
    widest = 0.6 + max(text_width(line, SMALL_SIZE) for text in labels for line in text.split("\n"))
    rows = math.ceil(len(keys) / max(1, int((width - 4 * PAD) / widest)))
    columns = math.ceil(len(keys) / rows)
    body.legend([*keys.values()], labels, loc="outside lower left", ncols=columns)


def _set_fonts(figure: Figure) -> None:
    """Set fonts that have all characters of the figure."""
    texts: Any = figure.findobj(Text)
    if len(fonts := font_families("".join(text.get_text() for text in texts))) > 1:
        for text in texts:
            text.set_fontfamily(fonts)


def _fit(figure: Figure, panel: Axes, panel_height: float, ratio: float, rows: float) -> None:
    """Wrap labels to the size of their panels, set the height of the figure, freeze the layout.

    Widths depend slightly on the height: a higher colour bar is thicker.
    """
    engine: Any = figure.get_layout_engine()
    engine.execute(figure)
    width, height = _size(panel)
    requested = panel_height or ratio * width
    changed = False
    for axes in figure.axes:
        wide, high = _size(axes)
        for set_text, text, length in (
            (axes.set_title, axes.get_title(loc="left"), wide),
            (axes.set_xlabel, axes.get_xlabel(), wide),
            (axes.set_ylabel, axes.get_ylabel(), high * requested / height),
        ):
            lines = "\n".join(_wrapped_lines(text, length))
            set_text(lines)
            changed |= lines != text
    if changed:
        engine.execute(figure)
        width, height = _size(panel)
        requested = panel_height or ratio * width
    missing = requested - height
    for _ in range(MAX_ROUNDS):
        figure.set_figheight(figure.get_figheight() + rows * missing)
        engine.execute(figure)
        width, height = _size(panel)
        missing = (panel_height or ratio * width) - height
        if abs(missing) < HEIGHT_TOLERANCE * height:
            break
    figure.set_layout_engine("none")


def _size(axes: Axes) -> tuple[float, float]:
    """Return width and height (in)."""
    box = axes.get_window_extent()
    return box.width / DPI, box.height / DPI


def _wrapped_lines(text: str, width: float) -> list[str]:
    return [line for part in text.split("\n") for line in wrapped(part, width, SIZE)]


def save_figures(
    figures: Mapping[str, FigureLayout], folder: Path, known: Iterable[str]
) -> list[Path]:
    """Write figures as PNG files named by their stems, and return the files.

    Existing files of other `known` stems, from an earlier result, are removed.

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
