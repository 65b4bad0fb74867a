"""Positions on the page: views side by side at one scale, base plates at one height.

Each has a column with its values below it; their titles are at the left, the legend at the right.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fem.core.errors import InputError
from fem.quantities.shape import Shape, polar_points
from fem.scene.offscreen_renderer import Viewport, project
from fem.scene.plates import BASE_PLATE, FREE_PLATE, PLATE_DEPTH
from fem.scene.still import legend as legend_column
from fem.scene.still import tags
from fem.scene.still.legend import Legend
from fem.scene.still.readouts import readouts
from fem.wording.picture_text import text_width, title_lines, wrapped

if TYPE_CHECKING:
    from fem.case.case import Case
    from fem.scene.result_view import ResultView

VIEW_HEIGHT = 5.0
"""Height of the picture of the tubes (in)."""

MAX_TUBE_WIDTH = 2.6
"""Greatest width of the thickest tube with its plates (in)."""

MIN_COLUMN = 1.75
"""Least width of a column (in), required by its values."""

WINDOW_COLUMN = 1.3
"""Width of the heading of a tube in the window (in)."""

SIDE = 0.475
"""Least space on either side of a tube, for its dimension line (in)."""

MIN_TITLES = 1.6
"""Least width of the column with the titles of the values (in)."""

SIZE, HEAD_SIZE, NOTE_SIZE = 9.0, 9.5, 8.5
"""Font sizes of values, headings and notes (pt)."""

NAME_LINES, NOTE_LINES = 4, 4
"""Most lines of the name of a case, and of a note; a longer one ends in an ellipsis."""

LINE = 0.21
"""Height of a line of values (in)."""

MARGIN = 0.03
"""Space above and below the tubes, over the height of the picture."""

MAX_VIEWS = 8
"""Most views on a page."""


class PageLayout:
    """Positions on the page.

    Parameters
    ----------
    views
        What is shown, from left to right.
    shapes
        The shapes of each that must fit.
    legend
        The legend at the right.
    height
        Visible height (mm); None for what they need.
    labels
        The state of each that is shown; empty for a film.
    more_notes
        Notes at the bottom, besides those on the paths.
    tagged
        Whether the thread families are labelled beside each tube.

    Attributes
    ----------
    views, legend
        The same.
    viewport
        The visible part of the screen plane (mm).
    scale
        Millimetres of the screen plane per inch of the page.
    centres, halves
        Position of the axis of each tube, and half its width with plates (mm).
    left
        Width of the column with the titles of the values (in).
    column
        Width of the narrowest column of a tube (in).
    readouts, lines
        The values below, and the number of lines of each.
    heads
        The heading of each tube.
    title, notes
        The lines of the title, and of the notes at the bottom.

    Raises
    ------
    InputError
        If there are too many views, or the height is too small.
    """

    def __init__(
        self,
        views: Sequence[ResultView],
        shapes: Sequence[Sequence[Shape]],
        legend: Legend,
        height: float | None = None,
        labels: Sequence[str] = (),
        more_notes: Sequence[str] = (),
        *,
        tagged: bool = False,
    ) -> None:
        check_count(views)
        self.views, self.legend = views, legend
        extents = [extent(one.case, some) for one, some in zip(views, shapes, strict=True)]
        self.halves, lows, tops = (list(column) for column in zip(*extents, strict=True))
        low, high = min(lows), max(tops)
        needed = (high - low) / (1 - 2 * MARGIN)
        if height is not None and height < needed:
            raise InputError(
                f"--height {height:g} mm is too small: the tubes need {np.ceil(needed):.0f} mm"
            )
        scale = height / VIEW_HEIGHT if height else needed / VIEW_HEIGHT
        if not height:
            scale = max(scale, 2 * max(self.halves) / MAX_TUBE_WIDTH)
        side, least_height = _tag_space(views) if tagged else (SIDE, 0.0)
        visible = height or max(needed, least_height * scale)
        widths = [max(2 * (half / scale + side), MIN_COLUMN) * scale for half in self.halves]
        edges = np.concatenate([[0.0], np.cumsum(widths)])
        bottom = low - MARGIN * visible
        self.viewport, self.scale = Viewport(0.0, float(edges[-1]), bottom, bottom + visible), scale
        self.centres: list[float] = ((edges[:-1] + edges[1:]) / 2).tolist()
        self.column = min(widths) / scale
        self.readouts = readouts(views)
        self.left = max(MIN_TITLES, *(0.4 + text_width(line.title, SIZE) for line in self.readouts))
        self.lines = [
            max(len(wrapped(line.longest(one), self.column, SIZE)) for one in views)
            for line in self.readouts
        ]
        self.heads = heads(views, labels, self.column, NAME_LINES)
        width = self.left + float(edges[-1]) / scale + legend_column.WIDTH - 0.6
        self.title = title_lines(" · ".join(dict.fromkeys(one.name for one in views)), width)
        self.notes = [
            line
            for note in [*notes(views), *more_notes]
            for line in wrapped(note, width, NOTE_SIZE, lines=NOTE_LINES)
        ]

    @property
    def below(self) -> float:
        """Space below the picture (in): values and notes, or more for a long legend."""
        values, legend = 0.32 + LINE * sum(self.lines), self.legend.height + 0.22 * len(self.title)
        legend -= self.viewport.height / self.scale + self.above
        return max(values, legend) + 0.17 * len(self.notes)

    @property
    def above(self) -> float:
        """Space above the picture (in)."""
        return 0.35 + 0.22 * len(self.title) + 0.18 * max(map(len, self.heads))

    @property
    def page(self) -> tuple[float, float]:
        """Width and height of the page (in)."""
        width, height = self.viewport.width / self.scale, self.viewport.height / self.scale
        return self.left + width + legend_column.WIDTH, self.below + height + self.above

    def pixels(self, dpi: float) -> tuple[int, int]:
        """Return width and height of the picture (pixels)."""
        width, height = self.viewport.width / self.scale, self.viewport.height / self.scale
        return round(width * dpi), round(height * dpi)


def _tag_space(views: Sequence[ResultView]) -> tuple[float, float]:
    """Return the space on either side of a tube, and the least height, with tags (in)."""
    width = max(tags.width(one.case) for one in views)
    return max(SIDE, width + 0.1), max(tags.height(one.case) for one in views)


def check_count(views: Sequence[ResultView]) -> None:
    """Check that the views fit side by side.

    Raises
    ------
    InputError
        If there are too many.
    """
    if len(views) > MAX_VIEWS:
        raise InputError(f"{len(views)} shapes side by side: at most {MAX_VIEWS} fit")


def extent(case: Case, shapes: Sequence[Shape]) -> tuple[float, float, float]:
    """Return half width, lowest and highest point of a tube with its plates (mm)."""
    radius = case.tube.outer_radius
    depth = PLATE_DEPTH * radius
    half, highest = BASE_PLATE * radius, case.tube.length
    for shape in shapes:
        wall = shape.nodes + shape.displacement
        half = max(half, float(np.hypot(wall[:, 0], wall[:, 1]).max()))
        highest = max(highest, float(wall[:, 2].max()))
    low = project(_circle(BASE_PLATE * radius, -depth))[:, 1].min()
    top = project(_circle(FREE_PLATE * radius, highest + depth))[:, 1].max()
    return half, float(low), float(top)


def _circle(radius: float, z: float) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Return points on a circle about the axis, shape (97, 3)."""
    angle = np.linspace(0, 2 * np.pi, 97)
    return polar_points(radius, angle, z)


def heads(
    views: Sequence[ResultView],
    labels: Sequence[str] = (),
    width: float = WINDOW_COLUMN,
    lines: int = 2,
) -> list[list[str]]:
    """Return the heading of each tube: name of the case if they differ, model, state.

    It fits a column of `width` (in); a name of more than `lines` lines ends in an ellipsis.
    """
    several = len({one.name for one in views}) > 1
    models = [one.title for one in views]
    if labels:
        models = [f"{model}, {label}" for model, label in zip(models, labels, strict=True)]
    return [
        [
            *(wrapped(one.name, width, HEAD_SIZE, lines=lines) if several else []),
            *wrapped(model, width, HEAD_SIZE),
        ]
        for one, model in zip(views, models, strict=True)
    ]


def notes(views: Sequence[ResultView]) -> list[str]:
    """Return notes on the paths: why one ended early, how many measurements there are."""
    found = [f"{_subject(one)}: {one.note.rstrip('.')}." for one in views if one.note]
    return list(dict.fromkeys(found))


def _subject(view: ResultView) -> str:
    return view.name if view.model == "bench" else f"{view.title} of {view.name} stopped early"
