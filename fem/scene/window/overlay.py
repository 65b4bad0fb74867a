"""Lettering and strokes laid over a window, at places relative to it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.colors import to_rgb
from matplotlib.font_manager import findfont

from fem.wording.picture_text import INK

FONT_FILE = 4
"""VTK's number for letters from a file."""

type Place = tuple[float, float]
"""Across and up in a renderer, from 0 to 1."""


class Words:
    """Text at a place of a renderer, to be changed as often as wanted.

    Parameters
    ----------
    renderer
        A vtkRenderer.
    place
        Where it is.
    text
        What it says.
    size
        Height of its letters (pixels).
    align
        Where the place is of the text: ``"left"``, ``"centre"`` (of its upper edge) or
        ``"beside"`` (half-way up its left edge).
    """

    def __init__(
        self, renderer: Any, place: Place, text: str = "", size: int = 14, align: str = "left"
    ) -> None:
        from vtkmodules.vtkRenderingCore import vtkTextActor

        self._actor = vtkTextActor()
        self._actor.GetPositionCoordinate().SetCoordinateSystemToNormalizedViewport()
        self._actor.SetPosition(*place)
        look = self._actor.GetTextProperty()
        plain(look)
        look.SetFontSize(size)
        look.SetVerticalJustificationToTop()
        look.SetLineSpacing(1.3)
        if align == "centre":
            look.SetJustificationToCentered()
        if align == "beside":
            look.SetVerticalJustificationToCentered()
        renderer.AddViewProp(self._actor)
        self.say(text)

    def say(self, text: str) -> None:
        """Change the text."""
        self._actor.SetInput(text or " ")  # VTK warns of an empty text

    def show(self, shown: bool) -> None:
        """Show it, or not."""
        self._actor.SetVisibility(shown)

    @property
    def text(self) -> str:
        """What it says."""
        return str(self._actor.GetInput()).strip()


def plain(look: Any) -> None:
    """Set a vtkTextProperty to plain letters: those of the pictures, arrows included."""
    look.SetFontFamily(FONT_FILE)
    look.SetFontFile(findfont("DejaVu Sans"))
    look.SetColor(*to_rgb(INK))
    look.BoldOff()
    look.ItalicOff()
    look.ShadowOff()


class Stroke:
    """Straight strokes between places of a renderer.

    Parameters
    ----------
    renderer
        A vtkRenderer.
    ends
        Both ends of each stroke.
    colour
        As matplotlib names them.
    width
        Width (pixels).
    """

    def __init__(
        self, renderer: Any, ends: Sequence[tuple[Place, Place]], colour: Any, width: float
    ) -> None:
        import pyvista

        self._lines = pyvista.PolyData()
        self.move(ends)
        self._actor = _flat(renderer, self._lines)
        look = self._actor.GetProperty()
        look.SetColor(*to_rgb(colour))
        look.SetLineWidth(width)

    def move(self, ends: Sequence[tuple[Place, Place]]) -> None:
        """Put the strokes elsewhere."""
        points = np.pad(np.array(ends, dtype=float).reshape(-1, 2), ((0, 0), (0, 1)))
        self._lines.points = points
        pairs = np.arange(len(points)).reshape(-1, 2)
        self._lines.lines = np.insert(pairs, 0, 2, axis=1).ravel()

    def show(self, shown: bool) -> None:
        """Show them, or not."""
        self._actor.SetVisibility(shown)


class Ramp:
    """A bar of colours, from below to above.

    Parameters
    ----------
    renderer
        A vtkRenderer.
    low, high
        Its lower left and its upper right corner.
    colours
        Red, green, blue, shape (n, 3), uint8.
    """

    def __init__(self, renderer: Any, low: Place, high: Place, colours: Any) -> None:
        import pyvista

        levels = np.linspace(low[1], high[1], len(colours) + 1)
        across, up = np.meshgrid([low[0], high[0]], levels)
        points = np.stack([across, up, np.zeros_like(up)], axis=-1).reshape(-1, 3)
        first = 2 * np.arange(len(colours))[:, None]
        bar = pyvista.PolyData.from_regular_faces(points, first + np.array([0, 1, 3, 2]))
        bar.cell_data["colour"] = colours
        mapper = _flat(renderer, bar).GetMapper()
        mapper.SetScalarModeToUseCellFieldData()
        mapper.ColorByArrayComponent("colour", -1)


def _flat(renderer: Any, mesh: Any) -> Any:
    """Draw a mesh in the plane of the window; return its actor."""
    from vtkmodules.vtkRenderingCore import vtkActor2D, vtkCoordinate, vtkPolyDataMapper2D

    places = vtkCoordinate()
    places.SetCoordinateSystemToNormalizedViewport()
    mapper = vtkPolyDataMapper2D()
    mapper.SetInputData(mesh)
    mapper.SetTransformCoordinate(places)
    actor = vtkActor2D()
    actor.SetMapper(mapper)
    renderer.AddViewProp(actor)
    return actor


def dashes(left: float, right: float, level: float, count: int) -> list[tuple[Place, Place]]:
    """Return so many dashes from left to right, the gaps as long as the dashes."""
    edges = np.linspace(left, right, 2 * count)
    return [((a, level), (b, level)) for a, b in edges.reshape(-1, 2).tolist()]
