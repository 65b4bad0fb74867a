"""The page around the rendered tubes: its fixed parts, and those that change with the state.

The solids are rendered separately (:mod:`fem.scene.offscreen_renderer`) and placed below. Fixed
parts are drawn once, so that a film only draws what changes.
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

from fem.scene.marks import draw_length, draw_twist, round_length
from fem.scene.plates import end_position
from fem.scene.still.layout import LINE, SIZE, PageLayout
from fem.scene.still.legend import draw_legend
from fem.scene.still.tags import draw_tags
from fem.wording.picture_text import INK, TITLE_SIZE, no_glyph_warnings, wrapped, write

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from fem.quantities.shape import Shape
    from fem.scene.result_view import ResultView

type Row = dict[str, Any]
type Picture = np.ndarray[Any, np.dtype[np.uint8]]


class PageFigure:
    """A page with space for the picture of the tubes.

    Parameters
    ----------
    layout
        Positions on the page.
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
        x_limits, y_limits = (viewport.left, viewport.right), (viewport.bottom, viewport.top)
        self._tubes = _axes(self.figure, place, x_limits, y_limits, "tubes")
        self._changing: list[Artist] = []
        self._background: Any = None
        self._draw_frame()
        draw_legend(self.figure, self._page, layout.legend, height - 0.5 - 0.22 * len(layout.title))

    def _draw_frame(self) -> None:
        """Draw title, headings, titles of the values, scale bar and notes."""
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
        """Return the upper edge of a line of values (in)."""
        return self._layout.below - 0.14 - LINE * sum(self._layout.lines[:number])

    def show(self, rows: Sequence[Row], drawn: Sequence[Row] | None = None) -> None:
        """Draw the values and dimensions of a state.

        Parameters
        ----------
        rows
            A row of the step table for each tube: the values that are shown.
        drawn
            Rows with the positions of the plates in the picture; None if they are in `rows`.
        """
        while self._changing:
            self._changing.pop().remove()
        for number, (row, position) in enumerate(zip(rows, drawn or rows, strict=True)):
            view = self._layout.views[number]
            x = self._layout.left + self._layout.centres[number] / self._layout.scale
            for line, readout in enumerate(self._layout.readouts):
                text = "\n".join(wrapped(readout.show(view, row), self._layout.column, SIZE))
                value = write(self._page, x, self._level(line), text, size=SIZE, ha="center")
                self._changing.append(value)
            if all(
                math.isfinite(sum(end_position(view.case.tube, one))) for one in (row, position)
            ):
                self._draw_motion(number, _length(view, row), position)
        for artist in self._changing:
            artist.set_animated(True)  # not drawn by the canvas, but in a file

    def _draw_motion(self, number: int, length: str, row: Row) -> None:
        """Draw the length of a tube, and the twist of its free end."""
        layout, axes = self._layout, self._tubes
        centre, view = layout.centres[number], layout.views[number]
        height, twist = end_position(view.case.tube, row)
        left = centre - layout.halves[number] - 0.14 * layout.scale
        self._changing += draw_length(axes, left, height, layout.scale, length)
        self._changing += draw_twist(axes, centre, view.case.tube, height, twist, layout.scale)

    def label_families(self, shapes: Sequence[Shape], rows: Sequence[Row]) -> None:
        """Label the thread families beside each tube, given its shape and row."""
        layout = self._layout
        for number, (view, shape) in enumerate(zip(layout.views, shapes, strict=True)):
            length, _ = end_position(view.case.tube, rows[number])
            place = layout.centres[number], layout.halves[number]
            draw_tags(self._tubes, shape, view.case, length, place, layout.scale)

    def with_picture(self, picture: Picture) -> Figure:
        """Return the page with the rendered tubes, shape (height, width, 3 or 4)."""
        x, y = self._corner
        self.figure.figimage(picture, x, y, zorder=-1)  # not resampled
        return self.figure

    @property
    def _corner(self) -> tuple[int, int]:
        """Lower left corner of the picture of the tubes (pixels)."""
        return round(self._layout.left * self._dpi), round(self._layout.below * self._dpi)

    def frame(self, picture: Picture) -> Picture:
        """Return the page on white as pixels, shape (height, width, 3), height and width even.

        `picture` has the shape (height, width, 3). The first call draws the fixed parts, the others
        only those of :meth:`show`.
        """
        if self._background is None:
            with no_glyph_warnings():
                self._canvas.draw()
            self._background = self._canvas.copy_from_bbox(self.figure.bbox)
        self._canvas.restore_region(self._background)
        for artist in self._changing:
            artist.draw(self._canvas.get_renderer())
        over = Image.fromarray(np.asarray(self._canvas.buffer_rgba()))
        page = Image.new("RGBA", over.size, "white")
        x, y = self._corner
        page.paste(Image.fromarray(picture), (x, over.height - y - len(picture)))
        page.alpha_composite(over)
        return np.asarray(page.convert("RGB"))[: over.height // 2 * 2, : over.width // 2 * 2]


def _length(view: ResultView, row: Row) -> str:
    """Return the distance of the plates in a state as text, with at least three digits."""
    digits = max(1, 2 - math.floor(math.log10(view.case.tube.length)))
    return f"{end_position(view.case.tube, row)[0]:.{digits}f} mm"


def _axes(
    figure: Figure, place: Any, xlim: tuple[float, float], ylim: tuple[float, float], label: str
) -> Axes:
    axes = figure.add_axes(place, xlim=xlim, ylim=ylim, label=label)
    axes.axis("off")
    return axes
