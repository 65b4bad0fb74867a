"""One state of each view as a picture file, drawn off screen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from fem.core.atomic_write import need_folder
from fem.core.errors import InputError
from fem.quantities.shape import Shape
from fem.scene.appearance import TRANSLUCENT, TRANSLUCENT_OPACITY
from fem.scene.colours import scales_of
from fem.scene.offscreen_renderer import OffscreenRenderer, actors_of
from fem.scene.result_view import ResultView, at_rest, state_solids
from fem.scene.solids import Solid
from fem.scene.still.figure import PageFigure
from fem.scene.still.layout import PageLayout
from fem.scene.still.legend import Legend
from fem.wording.picture_text import save_figure

type State = tuple[dict[str, Any], Shape | None]
"""Row of the step table, and the shape, if known."""

TRANSLUCENT_ROLES = ("wall", "threads", "plates", "marks")
"""Roles drawn with a translucent wall; the bore would hide the threads behind."""

ENDINGS = (".png", ".svg", ".pdf")
"""The last two have text and lines as vectors; the tubes are pixels in all of them."""


def check_still(file: Path) -> None:
    """Check, as far as possible before the work, that a picture can be written under this name.

    Raises
    ------
    InputError
        If its ending is unknown, or the folder does not exist.
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
        What is shown; a view without this step is shown at its last one.
    file
        File to write; its ending, one of `ENDINGS`, determines the format.
    step
        Number of the step, 0 being rest.
    cut
        Whether the tubes are cut open.
    start
        Whether the shape at rest is drawn, too.
    dpi
        Dots per inch.
    transparent
        Whether the background is transparent instead of white.
    height_mm
        Visible height (mm), so that pictures of several cases can have one scale; None for what
        these tubes need.

    Raises
    ------
    InputError
        If the ending is unknown, the folder does not exist, or the height is too small.
    OSError
        If it cannot be written, or this machine cannot render off screen.
    """
    check_still(file)
    steps = [[min(step, len(view.rows) - 1)] for view in views]
    page = Page(views, steps, cut=cut, start=start, height_mm=height_mm)
    page.save(file, dpi, transparent=transparent)


class Page:
    """States of each view, side by side: one in a still, all in a film.

    Parameters
    ----------
    views
        What is shown.
    steps
        The steps of each that must fit and be in the legend.
    cut, height_mm
        See :func:`save_still`.
    start
        Whether the shape at rest is drawn with a tube that is not at rest.
    translucent
        Whether the wall is grey and translucent, with the threads behind it visible and the
        families labelled.
    notes
        Notes at the bottom, besides those on the paths.

    Attributes
    ----------
    states
        The last state of each.
    scales
        The colour scales.
    layout
        Positions on the page.
    """

    def __init__(
        self,
        views: Sequence[ResultView],
        steps: Sequence[Sequence[int]],
        *,
        cut: bool = False,
        start: bool = True,
        height_mm: float | None = None,
        translucent: bool = False,
        notes: Sequence[str] = (),
    ) -> None:
        self._views, self._cut, self._start = views, cut, start
        self._translucent = translucent
        steps_of_views = list(zip(views, steps, strict=True))
        states = [[one.state(step) for step in some] for one, some in steps_of_views]
        self.states = [some[-1] for some in states]
        self.scales = scales_of(views)
        solids = (self.solids(n, *state) for n, some in enumerate(states) for state in some)
        rows = [row for some in states for row, _ in some]
        legend = Legend(views, self.scales, solids, rows)
        at_start = [one.shapes[: 1 if start else 0] for one in views]
        shapes = [
            [*first, *(shape for _, shape in some if shape)]
            for first, some in zip(at_start, states, strict=True)
        ]
        one_each = all(len(some) == 1 for some in steps)
        labels = [one.labels[step] for one, (step,) in steps_of_views] if one_each else ()
        self.layout = PageLayout(
            views, shapes, legend, height_mm, labels, notes, tagged=translucent
        )

    def solids(self, number: int, row: dict[str, Any], shape: Shape | None) -> list[Solid]:
        """Return the solids of a state of the view of this number."""
        start = self._start and not at_rest(row)
        found = state_solids(self._views[number], row, shape, cut=self._cut, start=start)
        if not self._translucent:
            return found
        wall: dict[str, Any] = {
            "role": "translucent",
            "values": None,
            "quantity": "",
            "colour": TRANSLUCENT,
            "opacity": TRANSLUCENT_OPACITY,
        }
        return [
            replace(solid, **wall) if solid.role == "wall" else solid
            for solid in found
            if solid.role in TRANSLUCENT_ROLES
        ]

    def actors(self, states: Sequence[State]) -> list[Any]:
        """Return the actors of a state of each view."""
        return [
            actor
            for number, (state, centre) in enumerate(zip(states, self.layout.centres, strict=True))
            for actor in actors_of(
                self.solids(number, *state), self.scales, cut=self._cut, shift=centre
            )
        ]

    def page_figure(self, dpi: float) -> PageFigure:
        """Return the page with all text and lines, without the tubes."""
        figure, rows = PageFigure(self.layout, dpi), [row for row, _ in self.states]
        figure.show(rows)
        if self._translucent:
            figure.label_families([shape for _, shape in self.states if shape], rows)
        return figure

    def save(self, file: Path, dpi: float, *, transparent: bool = False) -> None:
        """Draw it into a file; OSError if it cannot be written, or this machine cannot render."""
        layout = self.layout
        with OffscreenRenderer(
            layout.viewport, layout.pixels(dpi), transparent=transparent
        ) as renderer:
            picture = renderer.draw(self.actors(self.states))
        page = self.page_figure(dpi).with_picture(picture)
        save_figure(page, file, dpi=dpi, facecolor="none" if transparent else "white")
