"""Rendering off screen: coloured solids seen along one parallel projection, as an image."""

from __future__ import annotations

import ctypes
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.core.arrays import Array
from fem.scene.appearance import LIGHT

ELEVATION = np.radians(18.0)
"""The camera looks down by so much: the free end plate shows its upper face."""

NEAREST = -1e6
"""Units of depth by which a surface comes forward, to lie before all others."""

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
        A pyvista.PolyData; its array `colour` (uint8 RGB) on points or cells goes before `colour`.
    colour
        Red, green and blue from 0 to 1.
    opacity
        Below 1 only the faces towards the viewer are drawn, so that a closed surface dims what
        is behind it once.
    ambient
        Share of the light that no shade takes away; near 1 a colour reads as on the colour bar.
    shift
        How far the mesh is moved to the right (mm).
    through
        Whether it is drawn through all that is before it.
    """

    mesh: Any
    colour: tuple[float, float, float]
    opacity: float = 1.0
    ambient: float = 0.3
    shift: float = 0.0
    through: bool = False


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
    with Studio(view, size) as studio:
        return studio.draw(layers)


class Studio:
    """A window that is never shown, kept open for pictures of one size, seen from one place.

    Parameters
    ----------
    view
        What is seen.
    size
        Width and height of the pictures (pixels).
    clear
        Leave the ground transparent; it is white otherwise.

    Raises
    ------
    OSError
        If this machine cannot draw off screen.
    """

    def __init__(self, view: View, size: tuple[int, int], *, clear: bool = False) -> None:
        import pyvista
        from vtkmodules.vtkRenderingCore import vtkRenderer

        self._view, self._size, self._clear = view, size, clear
        with pyvista.vtk_verbosity("off"):  # VTK warns of each driver that it tries in vain
            self._window = _open_window()
        self._window.SetSize(*size)
        self._window.SetMultiSamples(4)
        self._window.SetAlphaBitPlanes(clear)
        self._renderer = vtkRenderer()
        ground = 0.0 if clear else 1.0  # on black, colours come out multiplied by their cover
        self._renderer.SetBackground(ground, ground, ground)
        self._renderer.SetBackgroundAlpha(ground)
        self._renderer.SetUseOIT(False)  # it would leave the edges of a translucent wall jagged
        self._window.AddRenderer(self._renderer)
        light(self._renderer)

    def __enter__(self) -> Studio:
        """Return the open studio."""
        return self

    def __exit__(self, *_: object) -> None:
        """Give back what the graphics driver holds."""
        self._window.Finalize()

    def draw(self, layers: Sequence[Layer]) -> np.ndarray[Any, Any]:
        """Return the picture of `layers`, uint8, shape (height, width, 3), or 4 if it is clear."""
        import pyvista
        from vtkmodules.vtkRenderingCore import vtkWindowToImageFilter

        self._renderer.RemoveAllViewProps()
        for layer in layers:
            self._renderer.AddActor(actor_of(layer))
        with pyvista.vtk_verbosity("off"):
            _aim(self._renderer, self._view)
            self._window.Render()
            grab = vtkWindowToImageFilter()
            grab.SetInput(self._window)
            if self._clear:
                grab.SetInputBufferTypeToRGBA()
            grab.ReadFrontBufferOff()
            grab.ShouldRerenderOff()
            grab.Update()
        pixels = np.array(pyvista.wrap(grab.GetOutput()).active_scalars)
        picture = pixels.reshape(self._size[1], self._size[0], -1)[::-1]
        return _divided(picture) if self._clear else picture


def _divided(picture: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Return a picture whose colours are divided by their cover, as image files want them."""
    cover = np.maximum(picture[..., 3:], 1) / 255
    colours = np.minimum(np.rint(picture[..., :3] / cover), 255).astype(np.uint8)
    return np.concatenate([colours, picture[..., 3:]], axis=2)


def _open_window() -> Any:
    """Return a window that is never shown.

    Where no driver works VTK ends the process with a segmentation fault at the first picture, but
    the kind of window that it chose tells beforehand (some 30 ms; a trial in another process, as
    `fem.installation.check` makes, takes a second).
    """
    import vtkmodules.vtkRenderingOpenGL2  # noqa: F401  (the drawing back end)
    from vtkmodules.vtkRenderingCore import vtkRenderWindow

    window = vtkRenderWindow()
    if window.GetClassName() == NO_DRIVER and not any(map(_loads, SOFTWARE_LIBRARIES)):
        raise OSError(
            "the 3D picture needs a graphics driver, and VTK finds none: "
            "`python -m fem.installation.check` says what to install"
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


def actor_of(layer: Layer) -> Any:
    """Return a layer as a vtkActor."""
    from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

    mapper = vtkPolyDataMapper()
    mapper.SetInputData(layer.mesh)
    if "colour" in layer.mesh.array_names:
        on_points = "colour" in layer.mesh.point_data
        by = mapper.SetScalarModeToUsePointFieldData, mapper.SetScalarModeToUseCellFieldData
        by[not on_points]()
        mapper.SelectColorArray("colour")
    else:
        mapper.ScalarVisibilityOff()
    if layer.through:
        mapper.SetRelativeCoincidentTopologyPolygonOffsetParameters(0.0, NEAREST)
        mapper.SetResolveCoincidentTopologyToPolygonOffset()
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
    """Point the camera so that `view` fills the picture."""
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


def light(renderer: Any) -> None:
    """Light as the table of looks says, wherever the camera stands."""
    from vtkmodules.vtkRenderingCore import vtkLight

    renderer.SetAutomaticLightCreation(False)
    lamp = vtkLight()
    lamp.SetLightTypeToCameraLight()
    lamp.SetPosition(*LIGHT)
    lamp.SetFocalPoint(0, 0, 0)
    renderer.AddLight(lamp)
