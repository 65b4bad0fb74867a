"""The page round the rendered tubes: what stays, and what changes from state to state.

The solids are rendered apart (:mod:`fem.scene.offscreen_renderer`) and laid under this. What stays
is drawn once, so that a film need draw no more than what changes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from fem.scene.marks import draw_length, draw_turn, round_length
from fem.scene.plates import place_of
from fem.scene.still.keys import draw_keys
from fem.scene.still.layout import LINE, SIZE, PageLayout
from fem.scene.still.tags import draw_tags
from fem.wording.picture_text import INK, TITLE_SIZE, no_glyph_warnings, wrapped, write

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from fem.quantities.shape import Shape
    from fem.scene.result_view import ResultView

type Row = dict[str, Any]
type Picture = np.ndarray[Any, np.dtype[np.uint8]]


class PageFigure:
    """A page with room for the picture of the tubes.

    Parameters
    ----------
    layout
        Where things are.
    dpi
        Dots per inch.
    """

    def __init__(self, layout: PageLayout, dpi: float) -> None:
        self._layout, self._dpi = layout, dpi
        width, height = layout.page
        self.figure = Figure(figsize=(width, height), dpi=dpi, facecolor="none")
        self._canvas: Any = FigureCanvasAgg(self.figure)
        self._page = _axes(self.figure, (0, 0, 1, 1), (0, width), (0, height), "page")
        viewport = layout.viewport
        wide, tall = viewport.width / layout.scale, viewport.height / layout.scale
        place = (layout.left / width, layout.below / height, wide / width, tall / height)
        across, up = (viewport.left, viewport.right), (viewport.bottom, viewport.top)
        self._stage = _axes(self.figure, place, across, up, "stage")
        self._changing: list[Artist] = []
        self._lettering: Any = None
        self._draw_frame()
        draw_keys(self.figure, self._page, layout.keys, height - 0.5 - 0.22 * len(layout.title))

    def _draw_frame(self) -> None:
        """Draw title, heads, titles of the read-outs, scale bar and notes."""
        page, layout = self._page, self._layout
        _, height = layout.page
        write(page, 0.3, height - 0.2, "\n".join(layout.title), size=TITLE_SIZE, weight="bold")
        top = layout.below + layout.viewport.height / layout.scale + 0.08
        for centre, head in zip(layout.centres, layout.heads, strict=True):
            x = layout.left + centre / layout.scale
            write(page, x, top, "\n".join(head), size=9.5, ha="center", va="bottom")
        for number, readout in enumerate(layout.readouts):
            write(page, 0.3, self._level(number), readout.title, size=SIZE)
        rule = layout.below - 0.08
        right = layout.left + layout.viewport.width / layout.scale
        page.plot([0.3, right], [rule, rule], color=INK, lw=0.6)
        foot = 0.12 + 0.17 * len(layout.notes)
        write(page, 0.3, foot, "\n".join(layout.notes), size=8.5, linespacing=1.25)
        length, level = round_length(0.9 * layout.scale), layout.below + 0.12
        ends = [0.3, 0.3 + length / layout.scale]
        page.plot(ends, [level, level], color=INK, lw=2, solid_capstyle="butt", gid="scale")
        write(page, 0.3, level + 0.06, f"{length:g} mm", size=8.5, va="bottom")

    def _level(self, number: int) -> float:
        """Return the upper edge of a line of the read-outs (in)."""
        return self._layout.below - 0.14 - LINE * sum(self._layout.lines[:number])

    def say(self, rows: Sequence[Row], drawn: Sequence[Row] | None = None) -> None:
        """Draw what belongs to a state.

        Parameters
        ----------
        rows
            A row of the step table to each tube: the figures that are read out.
        drawn
            Rows that tell where the plates are in the picture; None if it is of these rows.
        """
        while self._changing:
            self._changing.pop().remove()
        for number, (row, seen) in enumerate(zip(rows, drawn or rows, strict=True)):
            view = self._layout.views[number]
            x = self._layout.left + self._layout.centres[number] / self._layout.scale
            for line, readout in enumerate(self._layout.readouts):
                text = "\n".join(wrapped(readout.show(view, row), self._layout.column, SIZE))
                said = write(self._page, x, self._level(line), text, size=SIZE, ha="center")
                self._changing.append(said)
            if all(math.isfinite(sum(place_of(view.case.tube, one))) for one in (row, seen)):
                self._draw_motion(number, _length(view, row), seen)
        for artist in self._changing:
            artist.set_animated(True)  # a canvas leaves it out, a file does not

    def _draw_motion(self, number: int, length: str, row: Row) -> None:
        """Draw how long a tube is, and by how much its free end has turned."""
        layout, stage = self._layout, self._stage
        centre, view = layout.centres[number], layout.views[number]
        height, twist = place_of(view.case.tube, row)
        beside = centre - layout.halves[number] - 0.14 * layout.scale
        self._changing += draw_length(stage, beside, height, layout.scale, length)
        self._changing += draw_turn(stage, centre, view.case.tube, height, twist, layout.scale)

    def tag(self, shapes: Sequence[Shape], rows: Sequence[Row]) -> None:
        """Name the thread families beside each tube, of which shape and row are given."""
        layout = self._layout
        for number, (view, shape) in enumerate(zip(layout.views, shapes, strict=True)):
            length, _ = place_of(view.case.tube, rows[number])
            place = layout.centres[number], layout.halves[number]
            draw_tags(self._stage, shape, view.case, length, place, layout.scale)

    def lay(self, picture: Picture) -> Figure:
        """Return the page with the rendered tubes in it, shape (height, width, 3 or 4)."""
        x, y = self._corner
        self.figure.figimage(picture, x, y, zorder=-1)  # pixel by pixel: nothing is resampled
        return self.figure

    @property
    def _corner(self) -> tuple[int, int]:
        """Where the picture of the tubes has its lower left corner (pixels)."""
        return round(self._layout.left * self._dpi), round(self._layout.below * self._dpi)

    def frame(self, picture: Picture) -> Picture:
        """Return the page on white as pixels, shape (height, width, 3), both even.

        `picture` has the shape (height, width, 3). The first call draws what stays, the others only
        what :meth:`say` has drawn.
        """
        if self._lettering is None:
            with no_glyph_warnings():
                self._canvas.draw()
            self._lettering = self._canvas.copy_from_bbox(self.figure.bbox)
        self._canvas.restore_region(self._lettering)
        for artist in self._changing:
            artist.draw(self._canvas.get_renderer())
        over = Image.fromarray(np.asarray(self._canvas.buffer_rgba()))
        page = Image.new("RGBA", over.size, "white")
        x, y = self._corner
        page.paste(Image.fromarray(picture), (x, over.height - y - len(picture)))
        page.alpha_composite(over)
        return np.asarray(page.convert("RGB"))[: over.height // 2 * 2, : over.width // 2 * 2]


def _length(view: ResultView, row: Row) -> str:
    """Return the distance of the plates in a state in words, with three figures at least."""
    digits = max(1, 2 - math.floor(math.log10(view.case.tube.length)))
    return f"{place_of(view.case.tube, row)[0]:.{digits}f} mm"


def _axes(
    figure: Figure, place: Any, across: tuple[float, float], up: tuple[float, float], label: str
) -> Axes:
    axes = figure.add_axes(place, xlim=across, ylim=up, label=label)
    axes.axis("off")
    return axes
