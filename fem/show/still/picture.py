"""One state of each exhibit as a picture file, drawn off screen."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from fem.complaint import InputError

if TYPE_CHECKING:
    from fem.show.exhibit import Exhibit

ENDINGS = (".png", ".svg", ".pdf")
"""The last two keep the lettering as curves; the tubes are pixels in them all the same."""


def check_ending(file: Path) -> None:
    """Return if a picture can be written under this name.

    Raises
    ------
    InputError
        If its ending is not known.
    """
    if file.suffix.lower() not in ENDINGS:
        allowed = ", ".join(ENDINGS)
        raise InputError(f'{file}: unknown ending "{file.suffix}"; allowed: {allowed}')


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
        If the ending is not known, or the height does not hold the tubes.
    OSError
        If it cannot be written, or this machine cannot draw off screen.
    """
    from fem.show.colours import scales_of
    from fem.show.layers import layer_of
    from fem.show.render import Studio
    from fem.show.solids import solids
    from fem.show.still.board import Board
    from fem.show.still.stand import stand

    check_ending(file)
    steps = [min(step, len(exhibit.rows) - 1) for exhibit in exhibits]
    shown = list(zip(exhibits, steps, strict=True))
    seen = [{0 if start else at, at} if one.shapes else () for one, at in shown]
    shapes = [[one.shapes[at] for at in some] for one, some in zip(exhibits, seen, strict=True)]
    labels = [exhibit.labels[number] for exhibit, number in shown]
    place, scales = stand(exhibits, shapes, height_mm, labels), scales_of(exhibits)
    board = Board(place, scales, dpi, start=start)
    board.say([exhibit.rows[number] for exhibit, number in shown])
    with Studio(place.view, place.pixels(dpi), clear=transparent) as studio:
        picture = studio.draw(
            [
                layer_of(solid, scales, cut=cut, shift=centre)
                for (exhibit, number), centre in zip(shown, place.centres, strict=True)
                for solid in solids(exhibit, number, scales, cut=cut, start=start)
            ]
        )
    ground = "none" if transparent else "white"
    board.lay(picture).savefig(file, dpi=dpi, facecolor=ground)
