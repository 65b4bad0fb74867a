"""Where views stand on the page: side by side at one scale, base plates level.

A column to each, its read-outs below it; their titles at the left, the keys at the right.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fem.core.errors import InputError
from fem.quantities.shape import Shape, polar_points
from fem.scene.offscreen_renderer import Viewport, project
from fem.scene.plates import BASE_PLATE, FREE_PLATE, PLATE_DEPTH
from fem.scene.still import keys as column
from fem.scene.still import tags
from fem.scene.still.keys import Keys
from fem.scene.still.readouts import readouts
from fem.wording.picture_text import text_width, title_lines, wrapped

if TYPE_CHECKING:
    from fem.case.case import Case
    from fem.scene.result_view import ResultView

TALL = 5.0
"""Height of the view (in)."""

WIDE = 2.6
"""Width of the thickest tube, plates included, where that decides the scale (in)."""

NARROWEST = 1.75
"""Least width of a column (in): its read-outs need that."""

IN_WINDOW = 1.3
"""Width of the lines above a tube in the window (in)."""

BESIDE = 0.475
"""Least room on either side of a tube, for its length (in)."""

LEFT = 1.6
"""Least width of the column with the titles of the read-outs (in)."""

SIZE, HEAD_SIZE, NOTE_SIZE = 9.0, 9.5, 8.5
"""Sizes of the letters of read-outs, heads and notes (pt)."""

NAME_LINES, NOTE_LINES = 4, 4
"""Lines of a case's name above a tube, and of a note; a longer one ends in an ellipsis."""

LINE = 0.21
"""Height of a line of read-outs (in)."""

MARGIN = 0.03
"""Room above and below the tubes over the height of the view."""

MOST = 8
"""Most views on a page."""


class PageLayout:
    """Where things are on the page.

    Parameters
    ----------
    views
        What is shown, from left to right.
    shapes
        The shapes of each that must have room.
    keys
        What the column at the right explains.
    height
        Height that is shown (mm); None for what they need.
    labels
        Which state of each is shown; empty if several are, one after another.
    said
        What is to be said at the foot, besides notes on the paths.
    tagged
        Whether the thread families are named beside each tube.

    Attributes
    ----------
    views, keys
        The same.
    view
        The part of the screen plane that is shown (mm).
    scale
        Millimetres of the screen plane to an inch of the page.
    centres, halves
        Place of each tube's axis and its half width, plates included (mm).
    left
        Width of the column with the titles of the read-outs (in).
    column
        Width of the narrowest column of a tube (in).
    readouts, lines
        What is read out below, and how many lines each takes.
    heads
        The lines above each tube.
    title, notes
        The lines of the title, and of what is said of the paths at the foot.

    Raises
    ------
    InputError
        If there is not room enough.
    """

    def __init__(
        self,
        views: Sequence[ResultView],
        shapes: Sequence[Sequence[Shape]],
        keys: Keys,
        height: float | None = None,
        labels: Sequence[str] = (),
        said: Sequence[str] = (),
        *,
        tagged: bool = False,
    ) -> None:
        check_count(views)
        self.views, self.keys = views, keys
        extents = [extent(one.case, some) for one, some in zip(views, shapes, strict=True)]
        self.halves, lows, tops = (list(column) for column in zip(*extents, strict=True))
        low, high = min(lows), max(tops)
        needed = (high - low) / (1 - 2 * MARGIN)
        if height is not None and height < needed:
            raise InputError(f"--height {height:g} mm: the tubes need {np.ceil(needed):.0f} mm")
        scale = (height / TALL) if height else max(needed / TALL, 2 * max(self.halves) / WIDE)
        beside, above = _room(views) if tagged else (BESIDE, 0.0)
        tall = height or max(needed, above * scale)
        widths = [max(2 * (half / scale + beside), NARROWEST) * scale for half in self.halves]
        edges = np.concatenate([[0.0], np.cumsum(widths)])
        bottom = low - MARGIN * tall
        self.viewport, self.scale = Viewport(0.0, float(edges[-1]), bottom, bottom + tall), scale
        self.centres: list[float] = ((edges[:-1] + edges[1:]) / 2).tolist()
        self.column = min(widths) / scale
        self.readouts = readouts(views)
        self.left = max(LEFT, *(0.4 + text_width(line.title, SIZE) for line in self.readouts))
        self.lines = [
            max(len(wrapped(line.longest(one), self.column, SIZE)) for one in views)
            for line in self.readouts
        ]
        self.heads = heads(views, labels, self.column, NAME_LINES)
        room = self.left + float(edges[-1]) / scale + column.WIDTH - 0.6
        self.title = title_lines(" · ".join(dict.fromkeys(one.name for one in views)), room)
        self.notes = [
            line
            for note in [*notes(views), *said]
            for line in wrapped(note, room, NOTE_SIZE, lines=NOTE_LINES)
        ]

    @property
    def below(self) -> float:
        """Room below the view (in): read-outs and notes, or more if the keys reach so far."""
        said, beside = 0.32 + LINE * sum(self.lines), self.keys.height + 0.22 * len(self.title)
        beside -= self.viewport.height / self.scale + self.above
        return max(said, beside) + 0.17 * len(self.notes)

    @property
    def above(self) -> float:
        """Room above the view (in)."""
        return 0.35 + 0.22 * len(self.title) + 0.18 * max(map(len, self.heads))

    @property
    def page(self) -> tuple[float, float]:
        """Width and height of the page (in)."""
        width, height = self.viewport.width / self.scale, self.viewport.height / self.scale
        return self.left + width + column.WIDTH, self.below + height + self.above

    def pixels(self, dpi: float) -> tuple[int, int]:
        """Return width and height of the view (pixels)."""
        width, height = self.viewport.width / self.scale, self.viewport.height / self.scale
        return round(width * dpi), round(height * dpi)


def _room(views: Sequence[ResultView]) -> tuple[float, float]:
    """Return the room on either side of a tube, and the least height, where tags stand (in)."""
    wide = max(tags.width(one.case) for one in views)
    return max(BESIDE, wide + 0.1), max(tags.height(one.case) for one in views)


def check_count(views: Sequence[ResultView]) -> None:
    """Return if so many views can stand side by side.

    Raises
    ------
    InputError
        If there are more.
    """
    if len(views) > MOST:
        raise InputError(f"{len(views)} shapes side by side: at most {MOST} have room")


def extent(case: Case, shapes: Sequence[Shape]) -> tuple[float, float, float]:
    """Return half width, lowest and highest place of a tube with its plates (mm)."""
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
    width: float = IN_WINDOW,
    lines: int = 2,
) -> list[list[str]]:
    """Return the lines above each tube: its name where they differ, the model, the state.

    They fit in a column of `width` (in); a name of more than so many `lines` ends in an ellipsis.
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
    """Return what is to be said of paths: why one ended early, how many measurements there are."""
    said = [
        f"{one.title} of {one.name}{_stopped(one)}: {one.note.rstrip('.')}."
        for one in views
        if one.note
    ]
    return list(dict.fromkeys(said))


def _stopped(view: ResultView) -> str:
    return "" if view.model == "bench" else " stopped early"
