"""Rendering off screen: coloured solids seen along one parallel projection, as an image."""

from __future__ import annotations

import ctypes
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.core.arrays import Array
from fem.scene.appearance import AMBIENT, BEHIND, LIGHT

if TYPE_CHECKING:
    from fem.scene.colours import Scales
    from fem.scene.solids import Solid

ELEVATION = np.radians(18.0)
"""The camera looks down by so much: the free end plate shows its upper face."""

NEAREST = -1e6
"""Units of depth by which a surface comes forward, to lie before all others."""

NO_DRIVER = "vtkOSOpenGLRenderWindow"
"""What VTK falls back to where nothing can draw; it needs the rare library below, or crashes."""

SOFTWARE_LIBRARIES = ("libOSMesa.so.8", "libOSMesa.so")


@dataclass(frozen=True)
class Viewport:
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


def project(points: Array) -> Array:
    """Return the places on the screen plane of points, shape (..., 3); shape (..., 2), mm."""
    x, y, z = np.moveaxis(np.asarray(points, dtype=float), -1, 0)
    return np.stack([x, y * np.sin(ELEVATION) + z * np.cos(ELEVATION)], axis=-1)


def facing(normals: Array) -> Array:
    """Return how much outward normals, shape (..., 3), point to the viewer, 1 being straight."""
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
    """A window that is never shown, kept open for pictures of one size, seen from one place.

    Parameters
    ----------
    viewport
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

    def __init__(self, viewport: Viewport, size: tuple[int, int], *, clear: bool = False) -> None:
        import pyvista
        from vtkmodules.vtkRenderingCore import vtkRenderer

        self._viewport, self._size, self._clear = viewport, size, clear
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

    def __enter__(self) -> OffscreenRenderer:
        """Return the open studio."""
        return self

    def __exit__(self, *_: object) -> None:
        """Give back what the graphics driver holds."""
        self._window.Finalize()

    def draw(self, actors: Iterable[Any]) -> np.ndarray[Any, Any]:
        """Return the picture of actors, uint8, shape (height, width, 3), or 4 if it is clear."""
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
            if self._clear:
                grab.SetInputBufferTypeToRGBA()
            grab.ReadFrontBufferOff()
            grab.ShouldRerenderOff()
            grab.Update()
        pixels = np.array(pyvista.wrap(grab.GetOutput()).active_scalars)
        picture = pixels.reshape(self._size[1], self._size[0], -1)[::-1]
        if self._clear:  # image files have colours that are not multiplied by their cover
            picture = np.asarray(
                Image.frombytes("RGBa", self._size, picture.tobytes()).convert("RGBA")
            )
        return picture


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


def actors_of(
    solids: Iterable[Solid], scales: Scales, *, cut: bool = False, shift: float = 0.0
) -> list[Any]:
    """Return solids as actors; the shape at rest shows faintly through what hides it.

    Parameters
    ----------
    solids
        The solids.
    scales
        The scales of the colours.
    cut
        Whether the tube is cut open.
    shift
        How far they are moved to the right (mm).
    """
    actors, faint = [], []
    for solid in solids:
        mesh, ambient = _surface(solid, scales, cut), AMBIENT[solid.role]
        actors.append(actor_of(mesh, solid.colour, solid.opacity, ambient, shift))
        if solid.role == "start":
            faint.append(actor_of(mesh, solid.colour, BEHIND, ambient, shift, through=True))
    return actors + faint


def _surface(solid: Solid, scales: Scales, cut: bool) -> Any:
    """Return the triangles as a pyvista.PolyData with normals and, of values, `colour`."""
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
    through: bool = False,
) -> Any:
    """Return a surface as a vtkActor.

    Parameters
    ----------
    mesh
        A pyvista.PolyData; its array `colour` (uint8 RGB) on points goes before `colour`.
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
    from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

    mapper = vtkPolyDataMapper()
    mapper.SetInputData(mesh)
    mapper.SetScalarVisibility("colour" in mesh.point_data)
    mapper.SetScalarModeToUsePointFieldData()
    mapper.SelectColorArray("colour")
    if through:
        mapper.SetRelativeCoincidentTopologyPolygonOffsetParameters(0.0, NEAREST)
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
    """Light as the table of looks says, wherever the camera stands."""
    from vtkmodules.vtkRenderingCore import vtkLight

    renderer.SetAutomaticLightCreation(False)
    lamp = vtkLight()
    lamp.SetLightTypeToCameraLight()
    lamp.SetPosition(*LIGHT)
    renderer.AddLight(lamp)
