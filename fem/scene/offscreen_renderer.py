"""Off-screen rendering: an image of coloured solids in parallel projection."""

from __future__ import annotations

import ctypes
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.core.arrays import Array
from fem.scene.appearance import AMBIENT, HIDDEN_OPACITY, LIGHT

if TYPE_CHECKING:
    from fem.scene.colours import Scales
    from fem.scene.solids import Solid

ELEVATION = np.radians(18.0)
"""Angle by which the camera looks down (rad): the upper face of the free end plate is visible."""

FRONT_OFFSET = -1e6
"""Depth offset of a surface that is drawn in front of all others."""

NO_DRIVER = "vtkOSOpenGLRenderWindow"
"""VTK's last choice without a driver; without one of the libraries below it crashes."""

SOFTWARE_LIBRARIES = ("libOSMesa.so.8", "libOSMesa.so")


@dataclass(frozen=True)
class Viewport:
    """The visible rectangle of the screen plane (mm).

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


def project(points: Array) -> Array:
    """Return positions on the screen plane, shape (..., 2), mm, of points, shape (..., 3)."""
    x, y, z = np.moveaxis(np.asarray(points, dtype=float), -1, 0)
    return np.stack([x, y * np.sin(ELEVATION) + z * np.cos(ELEVATION)], axis=-1)


def facing(normals: Array) -> Array:
    """Return cosines of outward normals, shape (..., 3), with the direction to the viewer."""
    towards = np.array([0.0, -np.cos(ELEVATION), np.sin(ELEVATION)])
    return np.asarray(normals @ towards)


def render(
    actors: Iterable[Any], viewport: Viewport, size: tuple[int, int]
) -> np.ndarray[Any, Any]:
    """Return the picture of actors, shape (size[1], size[0], 3), uint8, on white.

    Raises
    ------
    OSError
        If this machine cannot draw off screen.
    """
    with OffscreenRenderer(viewport, size) as renderer:
        return renderer.draw(actors)


class OffscreenRenderer:
    """A hidden window for pictures of one size from one viewpoint.

    Parameters
    ----------
    viewport
        The visible rectangle.
    size
        Width and height of the pictures (pixels).
    transparent
        Whether the background is transparent instead of white.

    Raises
    ------
    OSError
        If this machine cannot draw off screen.
    """

    def __init__(
        self, viewport: Viewport, size: tuple[int, int], *, transparent: bool = False
    ) -> None:
        import pyvista
        from vtkmodules.vtkRenderingCore import vtkRenderer

        self._viewport, self._size, self._transparent = viewport, size, transparent
        with pyvista.vtk_verbosity("off"):  # VTK warns of each driver that fails
            self._window = _open_window()
        self._window.SetSize(*size)
        self._window.SetMultiSamples(4)
        self._window.SetAlphaBitPlanes(transparent)
        self._renderer = vtkRenderer()
        level = 0.0 if transparent else 1.0  # on black, colours are premultiplied by their opacity
        self._renderer.SetBackground(level, level, level)
        self._renderer.SetBackgroundAlpha(level)
        self._renderer.SetUseOIT(False)  # with it the edges of a translucent wall are jagged
        self._window.AddRenderer(self._renderer)
        light(self._renderer)

    def __enter__(self) -> OffscreenRenderer:
        """Return the renderer."""
        return self

    def __exit__(self, *_: object) -> None:
        """Release the resources of the graphics driver."""
        self._window.Finalize()

    def draw(self, actors: Iterable[Any]) -> np.ndarray[Any, Any]:
        """Return the picture of actors, uint8, shape (height, width, 3), or 4 if transparent."""
        import pyvista
        from PIL import Image
        from vtkmodules.vtkRenderingCore import vtkWindowToImageFilter

        self._renderer.RemoveAllViewProps()
        for actor in actors:
            self._renderer.AddActor(actor)
        with pyvista.vtk_verbosity("off"):
            aim(self._renderer.GetActiveCamera(), self._viewport)
            self._renderer.ResetCameraClippingRange()
            self._window.Render()
            grab = vtkWindowToImageFilter()
            grab.SetInput(self._window)
            if self._transparent:
                grab.SetInputBufferTypeToRGBA()
            grab.ReadFrontBufferOff()
            grab.ShouldRerenderOff()
            grab.Update()
        pixels = np.array(pyvista.wrap(grab.GetOutput()).active_scalars)
        picture = pixels.reshape(self._size[1], self._size[0], -1)[::-1]
        if self._transparent:  # image files have colours that are not premultiplied
            picture = np.asarray(
                Image.frombytes("RGBa", self._size, picture.tobytes()).convert("RGBA")
            )
        return picture


def _open_window() -> Any:
    """Return a hidden window.

    Without a driver VTK ends the process with a segmentation fault at the first picture. The class
    of the window shows this beforehand (about 30 ms; a trial in another process, as by
    `fem.installation.check`, takes a second).
    """
    import vtkmodules.vtkRenderingOpenGL2  # noqa: F401  (the rendering back end)
    from vtkmodules.vtkRenderingCore import vtkRenderWindow

    window = vtkRenderWindow()
    if window.GetClassName() == NO_DRIVER and not any(map(_loads, SOFTWARE_LIBRARIES)):
        raise OSError(
            "the 3D picture requires a graphics driver, and VTK finds none: "
            "`python -m fem.installation.check` lists what to install"
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


def actors_of(
    solids: Iterable[Solid], scales: Scales, *, cut: bool = False, shift: float = 0.0
) -> list[Any]:
    """Return solids as actors; the shape at rest is drawn faintly where something hides it.

    Parameters
    ----------
    solids
        The solids.
    scales
        The colour scales.
    cut
        Whether the tube is cut open.
    shift
        Offset to the right (mm).
    """
    actors, hidden = [], []
    for solid in solids:
        mesh, ambient = _surface(solid, scales, cut), AMBIENT[solid.role]
        actors.append(actor_of(mesh, solid.colour, solid.opacity, ambient, shift))
        if solid.role == "start":
            hidden.append(
                actor_of(mesh, solid.colour, HIDDEN_OPACITY, ambient, shift, in_front=True)
            )
    return actors + hidden


def _surface(solid: Solid, scales: Scales, cut: bool) -> Any:
    """Return the triangles as a pyvista.PolyData with normals and, given values, `colour`."""
    import pyvista

    faces: Any = solid.faces(cut)  # pyvista's types ask for int64
    mesh = pyvista.PolyData.from_regular_faces(solid.points, faces)
    mesh.point_data.active_normals = solid.normals
    scale = {scale.quantity: scale for scale in scales}.get(solid.quantity)
    if scale and solid.values is not None:
        mesh.point_data["colour"] = scale.rgb(solid.values)
    return mesh


def actor_of(
    mesh: Any,
    colour: tuple[float, float, float],
    opacity: float = 1.0,
    ambient: float = 0.3,
    shift: float = 0.0,
    *,
    in_front: bool = False,
) -> Any:
    """Return a surface as a vtkActor.

    Parameters
    ----------
    mesh
        A pyvista.PolyData; its point array `colour` (uint8 RGB) overrides the parameter `colour`.
    colour
        Red, green and blue from 0 to 1.
    opacity
        Below 1 only faces towards the viewer are drawn, so that a closed surface dims what is
        behind it once.
    ambient
        Ambient share of the light; near 1 a colour appears as on the colour bar.
    shift
        Offset to the right (mm).
    in_front
        Whether it is drawn in front of everything.
    """
    from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

    mapper = vtkPolyDataMapper()
    mapper.SetInputData(mesh)
    mapper.SetScalarVisibility("colour" in mesh.point_data)
    mapper.SetScalarModeToUsePointFieldData()
    mapper.SelectColorArray("colour")
    if in_front:
        mapper.SetRelativeCoincidentTopologyPolygonOffsetParameters(0.0, FRONT_OFFSET)
        mapper.SetResolveCoincidentTopologyToPolygonOffset()
    actor = vtkActor()
    actor.SetMapper(mapper)
    actor.SetPosition(shift, 0, 0)
    appearance = actor.GetProperty()
    appearance.SetColor(*colour)
    appearance.SetOpacity(opacity)
    appearance.SetAmbient(ambient)
    appearance.SetDiffuse(1 - ambient)
    appearance.SetBackfaceCulling(opacity < 1)
    return actor


def aim(camera: Any, viewport: Viewport) -> float:
    """Point a vtkCamera so that `viewport` fills the picture; return the distance (mm)."""
    middle = (viewport.bottom + viewport.top) / 2
    centre = middle * np.array([0.0, np.sin(ELEVATION), np.cos(ELEVATION)])
    centre[0] = (viewport.left + viewport.right) / 2
    distance = 4 * (viewport.width + viewport.height)
    towards = np.array([0.0, -np.cos(ELEVATION), np.sin(ELEVATION)])
    camera.SetParallelProjection(True)
    camera.SetParallelScale(viewport.height / 2)
    camera.SetFocalPoint(*centre)
    camera.SetPosition(*(centre + distance * towards))
    camera.SetViewUp(0, 0, 1)
    return distance


def light(renderer: Any) -> None:
    """Add the lamp of :mod:`fem.scene.appearance`, fixed to the camera."""
    from vtkmodules.vtkRenderingCore import vtkLight

    renderer.SetAutomaticLightCreation(False)
    lamp = vtkLight()
    lamp.SetLightTypeToCameraLight()
    lamp.SetPosition(*LIGHT)
    renderer.AddLight(lamp)
