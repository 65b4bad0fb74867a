"""The window on the screen."""

from __future__ import annotations

from fem.core.errors import InputError

OFF_SCREEN = ("vtkEGLRenderWindow", "vtkOSOpenGLRenderWindow")
"""Classes of windows that VTK chooses without a screen: they render, but are never visible."""


def need_screen() -> None:
    """Check that a window can be shown.

    VTK ends the process if it cannot show a window, but the class that it chooses shows this
    beforehand, as in :mod:`fem.scene.offscreen_renderer`.

    Raises
    ------
    InputError
        If there is no screen.
    """
    import pyvista
    import vtkmodules.vtkRenderingOpenGL2  # noqa: F401  (the rendering back end)
    from vtkmodules.vtkRenderingCore import vtkRenderWindow

    with pyvista.vtk_verbosity("off"):  # it warns of each server that it tries without success
        kind = vtkRenderWindow().GetClassName()
    if kind in OFF_SCREEN:
        raise InputError("no screen to open a window on: use --web, --png FILE or --movie FILE")
