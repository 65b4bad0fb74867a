"""First and last state of the FE model side by side, with a translucent wall: shape.png."""

from __future__ import annotations

from pathlib import Path

from fem.results.result import Result
from fem.scene.result_view import result_views
from fem.scene.still.picture import Page
from fem.wording.picture_text import DPI
from fem.wording.run_sections import drive_rows, move_rows


def draw_shape(result: Result, file: Path) -> None:
    """Draw the first and the last state of the FE model into an image file.

    Parameters
    ----------
    result
        A result with shapes of the FE model.
    file
        File to write; its ending determines the format.

    Raises
    ------
    OSError
        If it cannot be written, or this machine cannot render off screen.
    """
    path_page(result).save(file, DPI)


def path_page(result: Result) -> Page:
    """Return the page: the first state and the last, none beyond a limit that ends the path.

    If the free end is moved, the state before the move is shown, too.
    """
    view = next(view for view in result_views(result) if view.model == "fe")
    steps = {0, len(view.rows) - 1}
    if len(move_rows(view, view.case)) > 1:
        steps.add(len(drive_rows(view, view.case)) - 1)
    return Page(
        [view] * len(steps), [[step] for step in sorted(steps)], start=False, translucent=True
    )
