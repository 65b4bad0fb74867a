"""The window on the screen."""

from __future__ import annotations

from fem.core.errors import InputError

OFF_SCREEN = ("vtkEGLRenderWindow", "vtkOSOpenGLRenderWindow")
"""Kinds of windows that VTK falls back to where no screen answers: they draw, but never show."""


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
