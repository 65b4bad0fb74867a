"""The window on the screen."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fem.core.errors import InputError

if TYPE_CHECKING:
    from fem.scene.result_view import Exhibit

OFF_SCREEN = ("vtkEGLRenderWindow", "vtkOSOpenGLRenderWindow")
"""Kinds of windows that VTK falls back to where no screen answers: they draw, but never show."""


def open_window(
    exhibits: Sequence[Exhibit], title: str, *, cut: bool = False, start: bool = True
) -> None:
    """Show exhibits side by side in a window, until it is closed.

    Parameters
    ----------
    exhibits
        What is shown.
    title
        Title of the window.
    cut, start
        Whether the tubes are cut open, and their shapes at rest shown, to begin with.

    Raises
    ------
    InputError
        If there is no screen, or no room for so many.
    """
    from fem.scene.still.layout import check_count
    from fem.scene.window.window import Window

    check_count(exhibits)
    need_screen()
    Window(exhibits, title, cut=cut, start=start).open()


def need_screen() -> None:
    """Return if a window can be shown.

    VTK ends the process where it is made to show one and cannot, but the kind of window that it
    picks shows this beforehand; :mod:`fem.scene.offscreen_renderer` uses the same.

    Raises
    ------
    InputError
        If there is no screen.
    """
    import pyvista
    import vtkmodules.vtkRenderingOpenGL2  # noqa: F401  (the drawing back end)
    from vtkmodules.vtkRenderingCore import vtkRenderWindow

    with pyvista.vtk_verbosity("off"):  # it warns of each server that it tries without success
        kind = vtkRenderWindow().GetClassName()
    if kind in OFF_SCREEN:
        raise InputError("no screen to open a window on: use --web, --png FILE or --movie FILE")
