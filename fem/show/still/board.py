"""The page round the rendered tubes: what stays, and what changes from state to state.

The solids are rendered apart (:mod:`fem.show.render`) and laid under this. What stays is drawn
once, so that a film need draw no more than what changes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from fem.show.marks import draw_length, draw_turn, round_length
from fem.show.still.keys import draw_keys
from fem.show.still.stand import LEFT, LINE, Stand
from fem.show.style import INK, TITLE_SIZE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from fem.show.colours import Scales

type Row = dict[str, Any]
type Picture = np.ndarray[Any, np.dtype[np.uint8]]


class Board:
    """A page with room for the picture of the tubes.

    Parameters
    ----------
    stand
        Where things are.
    scales
        The scales of the colours.
    dpi
        Dots per inch.
    start
        Whether the shape at rest is in the picture, so that it is in the keys.
    """

    def __init__(self, stand: Stand, scales: Scales, dpi: float, *, start: bool) -> None:
        self._stand, self._dpi = stand, dpi
        width, height = stand.page
        self.figure = Figure(figsize=(width, height), dpi=dpi, facecolor="none")
        self._canvas: Any = FigureCanvasAgg(self.figure)
        self._page = _axes(self.figure, (0, 0, 1, 1), (0, width), (0, height), "page")
        view = stand.view
        wide, tall = view.width / stand.scale, view.height / stand.scale
        place = (LEFT / width, stand.below / height, wide / width, tall / height)
        across, up = (view.left, view.right), (view.bottom, view.top)
        self._stage = _axes(self.figure, place, across, up, "stage")
        self._changing: list[Artist] = []
        self._lettering: Any = None
        self._draw_frame()
        draw_keys(self.figure, self._page, stand, scales, start=start)

    def _draw_frame(self) -> None:
        """Draw title, heads, titles of the read-outs, scale bar and notes."""
        page, stand = self._page, self._stand
        _, height = stand.page
        _print(page, 0.3, height - 0.2, "\n".join(stand.title), size=TITLE_SIZE, weight="bold")
        top = stand.below + stand.view.height / stand.scale + 0.08
        for centre, head in zip(stand.centres, stand.heads, strict=True):
            x = LEFT + centre / stand.scale
            _print(page, x, top, "\n".join(head), size=9.5, ha="center", va="bottom")
        for number, readout in enumerate(stand.readouts):
            _print(page, 0.3, self._level(number), readout.title, size=9)
        rule = stand.below - 0.08
        right = LEFT + stand.view.width / stand.scale
        page.plot([0.3, right], [rule, rule], color=INK, lw=0.6)
        foot = 0.12 + 0.17 * len(stand.notes)
        _print(page, 0.3, foot, "\n".join(stand.notes), size=8.5, linespacing=1.25)
        length, level = round_length(0.9 * stand.scale), stand.below + 0.12
        ends = [0.3, 0.3 + length / stand.scale]
        page.plot(ends, [level, level], color=INK, lw=2, solid_capstyle="butt", gid="scale")
        _print(page, 0.3, level + 0.06, f"{length:g} mm", size=8.5, va="bottom")

    def _level(self, number: int) -> float:
        """Return the upper edge of a line of the read-outs (in)."""
        return self._stand.below - 0.14 - LINE * number

    def say(self, rows: Sequence[Row]) -> None:
        """Draw what belongs to a state, a row of the step table to each tube."""
        for artist in self._changing:
            artist.remove()
        self._changing = []
        for number, (exhibit, row) in enumerate(zip(self._stand.exhibits, rows, strict=True)):
            x = LEFT + self._stand.centres[number] / self._stand.scale
            for line, readout in enumerate(self._stand.readouts):
                text = readout.show(exhibit, row)
                said = _print(self._page, x, self._level(line), text, size=9, ha="center")
                self._changing.append(said)
            height = exhibit.case.tube.length + row["displacement_mm"]
            twist = math.radians(row["twist_deg"])
            if math.isfinite(height + twist):
                self._draw_motion(number, height, twist)

    def _draw_motion(self, number: int, height: float, twist: float) -> None:
        """Draw how long a tube is now (mm), and by how much its free end has turned (rad)."""
        stand, stage = self._stand, self._stage
        centre, tube = stand.centres[number], stand.exhibits[number].case.tube
        beside = centre - stand.halves[number] - 0.14 * stand.scale
        self._changing += draw_length(stage, beside, height, stand.scale, f"{height:.1f} mm")
        self._changing += draw_turn(stage, centre, tube, height, twist, stand.scale)

    def lay(self, picture: Picture) -> Figure:
        """Return the page with the rendered tubes in it, shape (height, width, 3 or 4)."""
        x, y = self._corner
        self.figure.figimage(picture, x, y, zorder=-1)  # pixel by pixel: nothing is resampled
        return self.figure

    @property
    def _corner(self) -> tuple[int, int]:
        """Where the picture of the tubes has its lower left corner (pixels)."""
        return round(LEFT * self._dpi), round(self._stand.below * self._dpi)

    def frame(self, picture: Picture) -> Picture:
        """Return the page on white as pixels, shape (height, width, 3), both even.

        `picture` has the shape (height, width, 3). The first call draws what stays, the others only
        what :meth:`say` has drawn.
        """
        if self._lettering is None:
            for artist in self._changing:
                artist.set_visible(False)
            self._canvas.draw()
            self._lettering = self._canvas.copy_from_bbox(self.figure.bbox)
            for artist in self._changing:
                artist.set_visible(True)
        self._canvas.restore_region(self._lettering)
        for artist in self._changing:
            artist.draw(self._canvas.get_renderer())
        over = np.asarray(self._canvas.buffer_rgba())
        under = np.full((*over.shape[:2], 3), 255, dtype=np.uint8)
        x, y = self._corner
        top = len(over) - y - len(picture)
        under[top : top + len(picture), x : x + picture.shape[1]] = picture
        return _laid_over(over, under)[: len(over) // 2 * 2, : over.shape[1] // 2 * 2]


def _laid_over(over: Picture, under: Picture) -> Picture:
    """Return lettering, shape (height, width, 4), on a picture, shape (height, width, 3)."""
    page = under.copy()
    lettered = over[..., 3] > 0  # a small part of the page
    cover = over[lettered, 3:].astype(np.float32) / 255
    page[lettered] = np.rint(cover * over[lettered, :3] + (1 - cover) * under[lettered])
    return page


def _axes(
    figure: Figure, place: Any, across: tuple[float, float], up: tuple[float, float], label: str
) -> Axes:
    axes = figure.add_axes(place, xlim=across, ylim=up, label=label)
    axes.axis("off")
    return axes


def _print(axes: Axes, x: float, y: float, text: str, **style: Any) -> Text:
    """Print plain text; a dollar sign in it starts no formula."""
    return axes.text(x, y, text, **{"va": "top", "color": INK, "parse_math": False, **style})
