"""Interactive shapes and a picture of them for print; fewer states if the page is too large."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from markupsafe import Markup

from fem.browser.embed import scene_block
from fem.browser.pack import pack
from fem.report import page
from fem.report.pictures import Picture, drawn
from fem.results.result import Result
from fem.scene.result_view import ResultView, result_views
from fem.wording.picture_text import DPI

STRIDES = {1: "one", 2: "second", 4: "fourth", 8: "eighth"}
"""Distances between the states in ever smaller pages: every state, every second one, ..."""

MIN_PIECE_BYTES = 5
"""Minimum packed size of a piece of a thread in one state (bytes); measured: 12 to 45."""

MAX_SIZE_RATIO = 1.5
"""Maximum ratio of the sizes per state of two packs of one path; shared arrays are packed once."""


class Scene(NamedTuple):
    """Interactive shapes, their picture for print, and a note; any may be missing."""

    block: Markup | None
    still: Picture | None
    note: str = ""


def stored_scene(result: Result, title: str) -> Scene:
    """Return the shapes of a result that a study has stored."""
    return Scene(block(result_views(result), title), *still_picture(result))


def scenes(result: Result) -> Iterator[tuple[Scene | None, list[str]]]:
    """Yield the scene of a result and what it omits, each smaller than the one before."""
    still, note = still_picture(result)
    for interactive, stride in scene_blocks(result_views(result), result.case.title):
        yield Scene(interactive, still, note), _omitted(stride)
    shapes = "the interactive shapes" + (" (a picture replaces them)" if still else "")
    yield (Scene(None, still, note) if still else None), [shapes]
    if still:
        yield None, ["the interactive shapes and their picture"]


def scene_blocks(shown: Sequence[ResultView], title: str) -> Iterator[tuple[Markup, int]]:
    """Yield the element of the interactive shapes and its stride, with ever fewer states.

    Elements above the size limit are not made; their size is estimated from the number of pieces
    of threads, and from the size per state of the element before.
    """
    most = max((len(view.rows) for view in shown), default=0)
    size = 0.0  # of a state (bytes)
    for stride in (stride for stride in STRIDES if stride < most):
        fewer = [thinned(view, stride) for view in shown]
        states = sum(len(view.rows) for view in fewer)
        least = max(MIN_PIECE_BYTES * sum(map(_pieces, fewer)), size * states / MAX_SIZE_RATIO)
        if least > page.MAX_BYTES:
            continue
        interactive = block(fewer, title)
        size = len(interactive) / states
        yield interactive, stride


def _pieces(view: ResultView) -> int:
    """Return the pieces of threads in all states."""
    return sum(
        shape.sectors * sum(len(family.tension) for family in shape.threads)
        for shape in view.shapes
    )


def still_picture(result: Result) -> tuple[Picture | None, str]:
    """Return the picture of the shapes or, if there is none, the reason."""
    from fem.scene.still.path import draw_shape

    if not result.shapes:
        return None, "There is no picture for print: it needs the shapes of the FE model."
    caption = "The tube at rest and at the end of its path, threads coloured by tension"
    try:
        return drawn(lambda file: draw_shape(result, file), caption, DPI), ""
    except OSError as error:  # a machine that cannot draw off screen
        return None, f"The picture could not be drawn: {error}."


def thinned(view: ResultView, stride: int) -> ResultView:
    """Return a view with its first state, every `stride`-th one and the last."""
    last = len(view.rows) - 1
    indices = sorted({*range(0, last + 1, stride), last})
    rows = [view.rows[number] for number in indices]
    return replace(view, rows=rows, shapes=[view.shapes[number] for number in indices])


def block(shown: Sequence[ResultView], title: str) -> Markup:
    """Return the element of interactive shapes, with its scripts and data."""
    return Markup(scene_block(pack(shown, title)))


def _omitted(stride: int) -> list[str]:
    if stride == 1:
        return []
    kept = f"the first, the last and every {STRIDES[stride]} one"
    return [f"states of the interactive shapes, except {kept}"]
