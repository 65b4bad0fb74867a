"""The path of all views, side by side, as a film rendered off screen."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fem.core.arrays import Array
from fem.core.errors import InputError
from fem.quantities import table
from fem.quantities.shape import Shape
from fem.scene.film.between import shape_between
from fem.scene.film.writer import Picture, check_film, rate, write_film
from fem.scene.offscreen_renderer import OffscreenRenderer
from fem.scene.result_view import ResultView
from fem.scene.still.figure import PageFigure
from fem.scene.still.picture import Page

type Row = dict[str, Any]

DPI = {".mp4": 150, ".gif": 100}
"""Dots per inch by the ending of the file, less for a wide page."""

MAX_WIDTH = 1900
"""Greatest width of a picture (pixels)."""

SAMPLES = 6
"""Pictures of the path from which the colours of a GIF are taken."""

BETWEEN = (
    "Shapes between two solved steps are interpolated; the values are those of the nearest solved "
    "step."
)
"""Values may be quoted: only solved ones are shown."""

FIRST, LAST = 0.08, 0.17
"""Shares of the time for which the film pauses at either end of the path."""


def save_movie(
    views: Sequence[ResultView],
    file: Path,
    *,
    cut: bool = False,
    start: bool = True,
    seconds: float = 5.0,
    height_mm: float | None = None,
    report: Callable[[int, int], None] | None = None,
) -> None:
    """Draw the path from rest to the last step as a film; each step takes the same time.

    Parameters
    ----------
    views
        What is shown; one with a shorter path stays at its last step.
    file
        File to write, .mp4 or .gif. It appears when it is complete.
    cut
        Whether the tubes are cut open.
    start
        Whether the shape at rest is drawn, too.
    seconds
        Duration of the film (s).
    height_mm
        Visible height (mm); None for what these tubes need.
    report
        Receives the numbers of pictures done and in total.

    Raises
    ------
    InputError
        If the ending is unknown, the folder does not exist, the height is too small, or the path
        has only one state.
    NoEncoderError
        If the encoder is not installed.
    OSError
        If it cannot be written, or this machine cannot draw off screen.
    """
    check_film(file)
    steps = max(len(view.rows) for view in views) - 1
    if not steps:
        raise InputError(
            f"{file}: a film requires a path of at least two states; this one has only the first"
        )
    page = film_page(views, cut=cut, start=start, height_mm=height_mm)
    dpi = min(DPI[file.suffix.lower()], MAX_WIDTH / page.layout.page[0])
    figure = PageFigure(page.layout, dpi)
    with OffscreenRenderer(page.layout.viewport, page.layout.pixels(dpi)) as renderer:

        def draw(moment: float) -> Picture:
            states = [state_at(view, moment) for view in views]
            solved = [solved_row(view, moment) for view in views]
            figure.show(solved, [row for row, _ in states])
            return figure.frame(renderer.draw(page.actors(states)))

        pictures = _pictures(moments(steps, round(seconds * rate(file))), draw, report)
        write_film(pictures, file, samples=map(draw, np.linspace(0.0, steps, SAMPLES)))


def film_page(views: Sequence[ResultView], **options: Any) -> Page:
    """Return the page for all pictures of a film; the options are those of :class:`Page`."""
    steps = [range(len(view.rows)) for view in views]
    return Page(views, steps, notes=[BETWEEN], **options)


def moments(steps: int, pictures: int) -> Array:
    """Return the position of each picture on the path: 0 at rest, 1 at the first step, etc."""
    first, last = round(FIRST * pictures), round(LAST * pictures)
    middle = np.linspace(0.0, steps, max(pictures - first - last, 2))
    return np.concatenate([np.zeros(first), middle, np.full(last, float(steps))])


def _pictures(
    moments: Array,
    draw: Callable[[float], Picture],
    report: Callable[[int, int], None] | None,
) -> Iterator[Picture]:
    """Yield the picture of each moment; equal ones in a row are drawn once."""
    picture, before = None, math.nan
    for number, moment in enumerate(moments.tolist(), start=1):
        if picture is None or moment != before:
            picture, before = draw(moment), moment
        yield picture
        if report:
            report(number, len(moments))


def solved_row(view: ResultView, moment: float) -> Row:
    """Return the row of the step nearest to a moment."""
    return view.rows[min(math.floor(moment + 0.5), len(view.rows) - 1)]


def state_at(view: ResultView, moment: float) -> tuple[Row, Shape | None]:
    """Return row and shape at a moment between two steps, or of the last step beyond the path.

    The motion of the free end (mm, deg) in the row is interpolated, other values are those of the
    step before. There is no shape if the view has none.
    """
    last = len(view.rows) - 1
    before = max(min(int(moment), last - 1), 0)
    after = min(before + 1, last)
    share = min(moment - before, 1.0)
    start, end = view.rows[before], view.rows[after]
    motion = {
        name: start[name] + share * (end[name] - start[name])
        for name in (table.displacement.column, table.twist.column)
    }
    row, shapes = {**start, **motion}, view.shapes
    if not shapes:
        return row, None
    twist = math.radians(end[table.twist.column] - start[table.twist.column])
    length = view.case.tube.length
    return row, shape_between(shapes[before], shapes[after], share, twist, length)
