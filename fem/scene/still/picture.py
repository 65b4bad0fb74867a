"""One state of each exhibit as a picture file, drawn off screen."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fem.core.atomic_write import need_folder
from fem.core.errors import InputError

if TYPE_CHECKING:
    from fem.scene.result_view import Exhibit
    from fem.scene.still.figure import PageFigure

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
    exhibits: Sequence[Exhibit],
    file: Path,
    *,
    step: int,
    cut: bool = False,
    start: bool = True,
    dpi: int = 300,
    transparent: bool = False,
    height_mm: float | None = None,
) -> None:
    """Draw a step of all exhibits side by side into a file.

    Parameters
    ----------
    exhibits
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
    steps = [min(step, len(exhibit.rows) - 1) for exhibit in exhibits]
    page = Page(exhibits, steps, cut=cut, start=start, height_mm=height_mm)
    page.save(file, dpi, transparent=transparent)


class Page:
    """A step of each exhibit, side by side, ready to be drawn.

    Parameters
    ----------
    exhibits, steps
        What is shown.
    cut, start, height_mm
        See :func:`save_still`.
    veiled
        Whether the wall is grey and translucent, so that the threads behind it show, and tags name
        the families.
    """

    def __init__(
        self,
        exhibits: Sequence[Exhibit],
        steps: Sequence[int],
        *,
        cut: bool = False,
        start: bool = True,
        height_mm: float | None = None,
        veiled: bool = False,
    ) -> None:
        from fem.scene.colours import scales_of
        from fem.scene.still.keys import keys_to
        from fem.scene.still.layout import lay_out
        from fem.scene.still.states import solids_of

        shown = list(zip(exhibits, steps, strict=True))
        self.cut, self.scales = cut, scales_of(exhibits)
        self.rows = [one.rows[at] for one, at in shown]
        self.shapes = [one.shapes[at : at + 1] for one, at in shown]
        self.solids = solids_of(exhibits, steps, cut=cut, start=start, veiled=veiled)
        keys = keys_to(exhibits, self.scales, self.solids, self.rows)
        rooms = [
            [*here, *(one.shapes[:1] if start else ())]
            for one, here in zip(exhibits, self.shapes, strict=True)
        ]
        labels = [one.labels[at] for one, at in shown]
        self.layout = lay_out(exhibits, rooms, keys, height_mm, labels, tagged=veiled)

    def lettered(self, dpi: float) -> PageFigure:
        """Return the page with all that is said on it, without the tubes."""
        from fem.scene.still.figure import PageFigure

        figure = PageFigure(self.layout, dpi)
        figure.say(self.rows)
        if self.layout.tagged:
            figure.tag([shape for some in self.shapes for shape in some], self.rows)
        return figure

    @property
    def actors(self) -> list[Any]:
        """What is rendered."""
        from fem.scene.offscreen_renderer import actors_of

        return [
            actor
            for some, centre in zip(self.solids, self.layout.centres, strict=True)
            for actor in actors_of(some, self.scales, cut=self.cut, shift=centre)
        ]

    def save(self, file: Path, dpi: float, *, transparent: bool = False) -> None:
        """Draw it into a file; OSError if it cannot be written, or this machine cannot draw."""
        from fem.scene.offscreen_renderer import Studio
        from fem.wording.picture_text import save_figure

        layout = self.layout
        with Studio(layout.view, layout.pixels(dpi), clear=transparent) as studio:
            picture = studio.draw(self.actors)
        page = self.lettered(dpi).lay(picture)
        save_figure(page, file, dpi=dpi, facecolor="none" if transparent else "white")
