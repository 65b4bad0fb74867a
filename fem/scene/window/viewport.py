"""One tube in its part of the window."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

from fem.scene.layers import layers_of
from fem.scene.offscreen_renderer import actor_of
from fem.scene.solids import solids

if TYPE_CHECKING:
    from fem.scene.colours import Scales
    from fem.scene.result_view import Exhibit

START = "start"
"""Role of the shape at rest."""


class Viewport:
    """A tube that shows one state at a time.

    What was shown once is kept, on the graphics card too, so that it comes back at once.

    Parameters
    ----------
    renderer
        The vtkRenderer that it has for itself.
    exhibit
        Its path.
    scales
        The scales of the colours.
    """

    def __init__(self, renderer: Any, exhibit: Exhibit, scales: Scales) -> None:
        self._renderer, self._exhibit, self._scales = renderer, exhibit, scales
        self._actors = cache(self._made)
        self._shown: list[Any] = []

    def show(self, step: int, *, cut: bool, start: bool) -> dict[str, Any]:
        """Show a state, the last one if the path has no such step; return its row."""
        step = min(step, len(self._exhibit.rows) - 1)
        wanted = [actor for role, actor in self._actors(step, cut) if start or role != START]
        for actor in self._shown:
            self._renderer.RemoveActor(actor)
        for actor in wanted:
            self._renderer.AddActor(actor)
        self._shown = wanted
        return self._exhibit.rows[step]

    def _made(self, step: int, cut: bool) -> list[tuple[str, Any]]:
        """Return what there is to see of a state, with its roles."""
        return [
            (solid.role, actor_of(layer))
            for solid in solids(self._exhibit, step, cut=cut)
            for layer in layers_of([solid], self._scales, cut=cut)
        ]
