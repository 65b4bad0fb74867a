"""The one camera of the window, and the scale bar that goes with it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.scene.marks import round_length
from fem.scene.offscreen_renderer import ELEVATION, View
from fem.scene.still.layout import extent
from fem.scene.window.overlay import Place, Stroke, Words
from fem.wording.picture_text import INK

if TYPE_CHECKING:
    from fem.scene.result_view import Exhibit

AIR = 1.06
"""What is seen over what the tubes need."""

LONGEST = 100
"""Greatest length of the scale bar (pixels)."""


class Camera:
    """A parallel camera that all tubes share, so that they are seen at one scale.

    Parameters
    ----------
    window
        The vtkRenderWindow.
    renderers
        A pyvista.Renderer to each tube, all of one size.
    ground
        The renderer that covers the window.
    exhibits
        The tubes; all states of theirs must have room.
    corner
        Place of the scale bar in the window.
    """

    def __init__(
        self,
        window: Any,
        renderers: Sequence[Any],
        ground: Any,
        exhibits: Sequence[Exhibit],
        corner: Place,
    ) -> None:
        self._window, self._renderer, self._corner = window, renderers[0], corner
        self.camera = renderers[0].camera
        for renderer in renderers:
            renderer.camera = self.camera
            renderer.camera_set = True  # or pyvista would aim it itself
        extents = [extent(exhibit.case, exhibit.shapes) for exhibit in exhibits]
        halves, lows, tops = zip(*extents, strict=True)
        self._need = View(-max(halves), max(halves), min(lows), max(tops))
        left, up = corner
        self._bar = Stroke(ground, [(corner, corner)], INK, 3)
        self._length = Words(ground, (left, up + 0.027))
        ground.AddObserver("StartEvent", lambda *_: self._draw_bar())

    def front(self) -> None:
        """Look from the front and a little from above, so that all tubes are seen whole."""
        wide, tall = self._renderer.GetSize()
        need = self._need
        up = np.array([0.0, np.sin(ELEVATION), np.cos(ELEVATION)])
        towards = np.array([0.0, -np.cos(ELEVATION), np.sin(ELEVATION)])
        centre = up * (need.bottom + need.top) / 2
        distance = 4 * (need.width + need.height)
        self.camera.ParallelProjectionOn()
        self.camera.SetParallelScale(AIR / 2 * max(need.height, need.width * tall / max(wide, 1)))
        self.camera.SetFocalPoint(*centre)
        self.camera.SetPosition(*(centre + distance * towards))
        self.camera.SetViewUp(0, 0, 1)
        self.camera.SetClippingRange(0.1 * distance, 2 * distance)  # whatever it is turned to

    def zoom(self, factor: float) -> None:
        """Show everything so many times as large."""
        self.camera.SetParallelScale(self.camera.GetParallelScale() / factor)

    @property
    def pixels_to_mm(self) -> float:
        """Pixels of the window to a millimetre across the line of sight."""
        return float(self._renderer.GetSize()[1] / (2 * self.camera.GetParallelScale()))

    @property
    def bar(self) -> tuple[float, float]:
        """Length of the scale bar, round, in mm and in pixels."""
        length = round_length(LONGEST / self.pixels_to_mm)
        return length, length * self.pixels_to_mm

    def _draw_bar(self) -> None:
        """Make the scale bar true."""
        length, pixels = self.bar
        left, up = self._corner
        share = pixels / max(self._window.GetSize()[0], 1)
        self._bar.move([((left, up), (left + share, up))])
        self._length.say(f"{length:g} mm")
