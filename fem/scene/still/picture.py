"""One state of each view as a picture file, drawn off screen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from fem.core.atomic_write import need_folder
from fem.core.errors import InputError
from fem.quantities.shape import Shape
from fem.scene.appearance import VEIL, VEIL_OPACITY
from fem.scene.colours import scales_of
from fem.scene.offscreen_renderer import OffscreenRenderer, actors_of
from fem.scene.result_view import ResultView, at_rest, state_solids
from fem.scene.solids import Solid
from fem.scene.still.figure import PageFigure
from fem.scene.still.keys import Keys
from fem.scene.still.layout import PageLayout
from fem.wording.picture_text import save_figure

type State = tuple[dict[str, Any], Shape | None]
"""Row of the step table, and the shape, where it is known."""

VEILED = ("wall", "threads", "plates", "marks")
"""What is seen where the wall is translucent; the bore would hide the threads behind."""

ENDINGS = (".png", ".svg", ".pdf")
"""The last two keep the lettering as curves; the tubes are pixels in them all the same."""


def check_still(file: Path) -> None:
    """Return if a picture can be written under this name, as far as can be told before the work.

    Raises
    ------
    InputError
        If its ending is not known, or there is no such folder.
    """
    if file.suffix.lower() not in ENDINGS:
        allowed = ", ".join(ENDINGS)
        raise InputError(f'{file}: unknown ending "{file.suffix}"; allowed: {allowed}')
    need_folder(file)


def save_still(
    views: Sequence[ResultView],
    file: Path,
    *,
    step: int,
    cut: bool = False,
    start: bool = True,
    dpi: int = 300,
    transparent: bool = False,
    height_mm: float | None = None,
) -> None:
    """Draw a step of all views side by side into a file.

    Parameters
    ----------
    views
        What is shown; one whose path has no such step is shown at its last.
    file
        To be written; its ending, one of `ENDINGS`, tells the format.
    step
        Number of the step, 0 being rest.
    cut
        Whether the tubes are cut open.
    start
        Whether the shape at rest is drawn too.
    dpi
        Dots per inch.
    transparent
        Whether the ground is left transparent, or else white.
    height_mm
        Height of what is seen (mm), so that pictures of several cases have one scale; None for what
        these tubes need.

    Raises
    ------
    InputError
        If the ending is not known, there is no such folder, or the height does not hold the tubes.
    OSError
        If it cannot be written, or this machine cannot draw off screen.
    """
    check_still(file)
    steps = [[min(step, len(view.rows) - 1)] for view in views]
    page = Page(views, steps, cut=cut, start=start, height_mm=height_mm)
    page.save(file, dpi, transparent=transparent)


class Page:
    """States of each view, side by side: one in a still, all in the pictures of a film.

    Parameters
    ----------
    views
        What is shown.
    steps
        The steps of each that must have room and be explained.
    cut, height_mm
        See :func:`save_still`.
    start
        Whether the shape at rest is drawn beside a tube that is not at rest.
    veiled
        Whether the wall is grey and translucent, so that the threads behind it show, and tags name
        the families.
    notes
        What is to be said at the foot, besides notes on the paths.

    Attributes
    ----------
    states
        The last state of each.
    scales
        The scales of the colours.
    layout
        Where things are.
    """

    def __init__(
        self,
        views: Sequence[ResultView],
        steps: Sequence[Sequence[int]],
        *,
        cut: bool = False,
        start: bool = True,
        height_mm: float | None = None,
        veiled: bool = False,
        notes: Sequence[str] = (),
    ) -> None:
        self._views, self._cut, self._start, self._veiled = views, cut, start, veiled
        shown = list(zip(views, steps, strict=True))
        states = [[one.state(step) for step in some] for one, some in shown]
        self.states = [some[-1] for some in states]
        self.scales = scales_of(views)
        solids = (self.solids(n, *state) for n, some in enumerate(states) for state in some)
        rows = [row for some in states for row, _ in some]
        keys = Keys(views, self.scales, solids, rows)
        at_start = [one.shapes[: 1 if start else 0] for one in views]
        shapes = [
            [*first, *(shape for _, shape in some if shape)]
            for first, some in zip(at_start, states, strict=True)
        ]
        one_each = all(len(some) == 1 for some in steps)
        labels = [one.labels[step] for one, (step,) in shown] if one_each else ()
        self.layout = PageLayout(views, shapes, keys, height_mm, labels, notes, tagged=veiled)

    def solids(self, number: int, row: dict[str, Any], shape: Shape | None) -> list[Solid]:
        """Return the solids of a state of the view of this number."""
        start = self._start and not at_rest(row)
        found = state_solids(self._views[number], row, shape, cut=self._cut, start=start)
        if not self._veiled:
            return found
        veil: dict[str, Any] = {
            "role": "veil",
            "values": None,
            "quantity": "",
            "colour": VEIL,
            "opacity": VEIL_OPACITY,
        }
        return [
            replace(solid, **veil) if solid.role == "wall" else solid
            for solid in found
            if solid.role in VEILED
        ]

    def actors(self, states: Sequence[State]) -> list[Any]:
        """Return what is rendered of a state of each view."""
        return [
            actor
            for number, (state, centre) in enumerate(zip(states, self.layout.centres, strict=True))
            for actor in actors_of(
                self.solids(number, *state), self.scales, cut=self._cut, shift=centre
            )
        ]

    def lettered(self, dpi: float) -> PageFigure:
        """Return the page with all that is said on it, without the tubes."""
        figure, rows = PageFigure(self.layout, dpi), [row for row, _ in self.states]
        figure.say(rows)
        if self._veiled:
            figure.tag([shape for _, shape in self.states if shape], rows)
        return figure

    def save(self, file: Path, dpi: float, *, transparent: bool = False) -> None:
        """Draw it into a file; OSError if it cannot be written, or this machine cannot draw."""
        layout = self.layout
        with OffscreenRenderer(layout.viewport, layout.pixels(dpi), clear=transparent) as studio:
            picture = studio.draw(self.actors(self.states))
        page = self.lettered(dpi).lay(picture)
        save_figure(page, file, dpi=dpi, facecolor="none" if transparent else "white")
