"""Rendering off screen: coloured solids seen along one parallel projection, as an image."""

from __future__ import annotations

import ctypes
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.arrays import Array

ELEVATION = np.radians(18.0)
"""The camera looks down by so much: the free end plate shows its upper face."""

NO_DRIVER = "vtkOSOpenGLRenderWindow"
"""What VTK falls back to where nothing can draw; it needs the rare library below, or crashes."""

SOFTWARE_LIBRARIES = ("libOSMesa.so.8", "libOSMesa.so")


@dataclass(frozen=True)
class View:
    """The rectangle of the screen plane that is seen, mm on the screen plane.

    Attributes
    ----------
    left, right, bottom, top
        Its sides; the origin of space is at (0, 0).
    """

    left: float
    right: float
    bottom: float
    top: float

    @property
    def width(self) -> float:
        """Width (mm)."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Height (mm)."""
        return self.top - self.bottom


@dataclass(frozen=True)
class Layer:
    """A surface and how it looks.

    Attributes
    ----------
    mesh
        A pyvista.PolyData; its cell array `colour` (uint8 RGB), goes before `colour`.
    colour
        Red, green and blue from 0 to 1.
    opacity
        Below 1 only the faces towards the viewer are drawn, so that a closed surface dims what
        is behind it once.
    ambient
        Share of the light that no shade takes away; near 1 a colour reads as on the colour bar.
    shift
        How far the mesh is moved to the right (mm).
    """

    mesh: Any
    colour: tuple[float, float, float]
    opacity: float = 1.0
    ambient: float = 0.3
    shift: float = 0.0


def project(points: Array) -> Array:
    """Return the places on the screen plane of points, shape (..., 3); shape (..., 2), mm."""
    x, y, z = np.moveaxis(np.asarray(points, dtype=float), -1, 0)
    return np.stack([x, y * np.sin(ELEVATION) + z * np.cos(ELEVATION)], axis=-1)


def facing(normals: Array) -> Array:
    """Return how much outward normals, shape (..., 3), point to the viewer, 1 being straight."""
    towards = np.array([0.0, -np.cos(ELEVATION), np.sin(ELEVATION)])
    return np.asarray(normals @ towards)


def render(layers: Sequence[Layer], view: View, size: tuple[int, int]) -> np.ndarray[Any, Any]:
    """Return the picture of `layers`, shape (size[1], size[0], 3), uint8, on white.

    Raises
    ------
    OSError
        If this machine cannot draw off screen.
    """
    import pyvista
    from vtkmodules.vtkRenderingCore import vtkRenderer, vtkWindowToImageFilter

    with pyvista.vtk_verbosity("off"):  # VTK warns of each driver that it tries in vain
        window = _open_window()
        window.SetSize(*size)
        window.SetMultiSamples(4)
        renderer = vtkRenderer()
        renderer.SetBackground(1, 1, 1)
        renderer.SetUseOIT(False)  # it would leave the edges of the translucent wall jagged
        for layer in layers:
            renderer.AddActor(_actor(layer))
        _aim(renderer, view)
        window.AddRenderer(renderer)
        window.Render()
        grab = vtkWindowToImageFilter()
        grab.SetInput(window)
        grab.ReadFrontBufferOff()
        grab.ShouldRerenderOff()
        grab.Update()
        pixels = np.array(pyvista.wrap(grab.GetOutput()).active_scalars)
        window.Finalize()
    return pixels.reshape(size[1], size[0], 3)[::-1]


def _open_window() -> Any:
    """Return a window that is never shown.

    Where no driver works VTK ends the process with a segmentation fault at the first picture, but
    the kind of window that it chose tells beforehand (some 30 ms; a trial in another process, as
    `fem.install` makes, takes a second).
    """
    import vtkmodules.vtkRenderingOpenGL2  # noqa: F401  (the drawing back end)
    from vtkmodules.vtkRenderingCore import vtkRenderWindow

    window = vtkRenderWindow()
    if window.GetClassName() == NO_DRIVER and not any(map(_loads, SOFTWARE_LIBRARIES)):
        raise OSError(
            "the 3D picture needs a graphics driver, and VTK finds none: "
            "`python -m fem.install` says what to install"
        )
    window.SetOffScreenRendering(1)
    window.SetShowWindow(False)
    return window


def _loads(library: str) -> bool:
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


def _actor(layer: Layer) -> Any:
    from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

    mapper = vtkPolyDataMapper()
    mapper.SetInputData(layer.mesh)
    if "colour" in layer.mesh.cell_data:
        mapper.SetScalarModeToUseCellFieldData()
        mapper.SelectColorArray("colour")
    else:
        mapper.ScalarVisibilityOff()
    actor = vtkActor()
    actor.SetMapper(mapper)
    actor.SetPosition(layer.shift, 0, 0)
    look = actor.GetProperty()
    look.SetColor(*layer.colour)
    look.SetOpacity(layer.opacity)
    look.SetAmbient(layer.ambient)
    look.SetDiffuse(1 - layer.ambient)
    look.SetBackfaceCulling(layer.opacity < 1)
    return actor


def _aim(renderer: Any, view: View) -> None:
    """Point the camera so that `view` fills the picture, and light it from the upper left."""
    from vtkmodules.vtkRenderingCore import vtkLight

    right = np.array([1.0, 0.0, 0.0])
    up = np.array([0.0, np.sin(ELEVATION), np.cos(ELEVATION)])
    towards = np.cross(right, up)
    centre = right * (view.left + view.right) / 2 + up * (view.bottom + view.top) / 2
    distance = 2 * (view.width + view.height)
    camera = renderer.GetActiveCamera()
    camera.ParallelProjectionOn()
    camera.SetParallelScale(view.height / 2)
    camera.SetFocalPoint(*centre)
    camera.SetPosition(*(centre + distance * towards))
    camera.SetViewUp(*up)
    renderer.ResetCameraClippingRange()
    renderer.SetAutomaticLightCreation(False)
    for place, strength in (((-1.0, 1.4, 1.6), 0.95), ((1.4, 0.6, 1.0), 0.3)):
        light = vtkLight()
        light.SetLightTypeToCameraLight()
        light.SetPosition(*place)
        light.SetFocalPoint(0, 0, 0)
        light.SetIntensity(strength)
        renderer.AddLight(light)
