"""Shapes to turn, with a picture for paper; fewer of their states where they weigh too much."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

from markupsafe import Markup

from fem.result import Result
from fem.show.exhibit import Exhibit, exhibits
from fem.show.report.figures import Picture, drawn
from fem.show.style import DPI
from fem.show.web.embed import scene_block
from fem.show.web.pack import pack

EVERY = {1: "one", 2: "second", 4: "fourth", 8: "eighth"}
"""Of the steps between the first and the last every one stays, then every second, and so on."""


class Scene(NamedTuple):
    """Shapes to turn, their picture for paper, and what is said of them; any may be lacking."""

    block: Markup | None
    still: Picture | None
    said: str = ""


@dataclass(frozen=True)
class Kept:
    """A result whose shapes a study has kept, under the words of its setting."""

    title: str
    result: Result

    def scene(self, *, turn: bool) -> Scene:
        """Return its shapes, to turn or as a picture only."""
        still, said = self._picture
        return Scene(self._block if turn else None, still, said)

    @cached_property
    def _picture(self) -> tuple[Picture | None, str]:
        return picture_of(self.result)

    @cached_property
    def _block(self) -> Markup:
        return block(exhibits(self.result), self.title)


def scenes(result: Result) -> Iterator[tuple[Scene | None, list[str]]]:
    """Yield the scene of a result and what is left out of it, each time lighter."""
    still, said = picture_of(result)
    shown = exhibits(result)
    most = max((len(exhibit.rows) for exhibit in shown), default=0)
    for every in (every for every in EVERY if every < most):
        turned = block([thinned(exhibit, every) for exhibit in shown], result.case.title)
        yield Scene(turned, still, said), _left_out(every)
    gone = "the shapes to turn" + ("; a picture of them stays" if still else "")
    yield (Scene(None, still, said) if still else None), [gone]
    if still:
        yield None, ["the shapes to turn, and their picture"]


def picture_of(result: Result) -> tuple[Picture | None, str]:
    """Return the picture of the shapes and, where there is none, why."""
    from fem.show.still.path import draw_shape

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


def block(shown: list[Exhibit], title: str) -> Markup:
    """Return the element in which exhibits are turned, with all that it needs."""
    return Markup(scene_block(pack(shown, title)))


def _left_out(every: int) -> list[str]:
    if every == 1:
        return []
    return [
        f"of the shapes to turn all states but every {EVERY[every]} one, the first and the last"
    ]
