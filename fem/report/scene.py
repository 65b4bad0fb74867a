"""Shapes to turn, with a picture for paper; fewer of their states where they weigh too much."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from markupsafe import Markup

from fem.browser.embed import scene_block
from fem.browser.pack import pack
from fem.report import page
from fem.report.figures import Picture, drawn
from fem.results.result import Result
from fem.scene.result_view import Exhibit, exhibits
from fem.wording.picture_text import DPI

EVERY = {1: "one", 2: "second", 4: "fourth", 8: "eighth"}
"""Of the steps between the first and the last every one stays, then every second, and so on."""

LEAST_OF_PIECE = 5
"""A piece of a thread in one state takes so many bytes at least, packed; found to be 12 to 45."""

SPREAD = 1.5
"""States of one path weigh alike but for this factor: what is unlike in them is packed once."""


class Scene(NamedTuple):
    """Shapes to turn, their picture for paper, and what is said of them; any may be lacking."""

    block: Markup | None
    still: Picture | None
    said: str = ""


def kept_scene(result: Result, title: str) -> Scene:
    """Return the shapes of a result that a study has kept."""
    return Scene(block(exhibits(result), title), *picture_of(result))


def scenes(result: Result) -> Iterator[tuple[Scene | None, list[str]]]:
    """Yield the scene of a result and what is left out of it, each time lighter."""
    still, said = picture_of(result)
    for turned, every in turned_blocks(exhibits(result), result.case.title):
        yield Scene(turned, still, said), _left_out(every)
    gone = "the shapes to turn" + ("; a picture of them stays" if still else "")
    yield (Scene(None, still, said) if still else None), [gone]
    if still:
        yield None, ["the shapes to turn, and their picture"]


def turned_blocks(shown: Sequence[Exhibit], title: str) -> Iterator[tuple[Markup, int]]:
    """Yield the element in which exhibits are turned, of ever fewer states, and of which.

    Those that would be too heavy by themselves are left out: by what their threads weigh at least,
    or by what the one before weighed for each state.
    """
    most = max((len(exhibit.rows) for exhibit in shown), default=0)
    weight = 0.0  # of a state (bytes)
    for every in (every for every in EVERY if every < most):
        fewer = [thinned(exhibit, every) for exhibit in shown]
        states = sum(len(exhibit.rows) for exhibit in fewer)
        least = max(LEAST_OF_PIECE * sum(map(_pieces, fewer)), weight * states / SPREAD)
        if least > page.MOST_BYTES:
            continue
        turned = block(fewer, title)
        weight = len(turned) / states
        yield turned, every


def _pieces(exhibit: Exhibit) -> int:
    """Return the pieces of threads in all states."""
    return sum(
        shape.sectors * sum(len(family.tension) for family in shape.threads)
        for shape in exhibit.shapes
    )


def picture_of(result: Result) -> tuple[Picture | None, str]:
    """Return the picture of the shapes and, where there is none, why."""
    from fem.scene.still.path import draw_shape

    if not result.shapes:
        return None, "The FE model has left no shapes: the picture on paper is lacking."
    caption = "The tube at rest and at the end of its path, threads coloured by tension"
    try:
        return drawn(lambda file: draw_shape(result, file), caption, DPI), ""
    except OSError as error:  # a machine that cannot draw off screen
        return None, f"The picture could not be drawn here: {error}."


def thinned(exhibit: Exhibit, every: int) -> Exhibit:
    """Return an exhibit with every so-and-so-many-th state, the first and the last among them."""
    last = len(exhibit.rows) - 1
    kept = sorted({*range(0, last + 1, every), last})
    rows = [exhibit.rows[number] for number in kept]
    return replace(exhibit, rows=rows, shapes=[exhibit.shapes[number] for number in kept])


def block(shown: Sequence[Exhibit], title: str) -> Markup:
    """Return the element in which exhibits are turned, with all that it needs."""
    return Markup(scene_block(pack(shown, title)))


def _left_out(every: int) -> list[str]:
    if every == 1:
        return []
    return [
        f"of the shapes to turn all states but every {EVERY[every]} one, the first and the last"
    ]
