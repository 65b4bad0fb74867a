"""The interactive window: steps, play, cut, pictures."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from fem.core.atomic_write import in_place_of
from fem.scene.appearance import START_TITLE
from fem.scene.colours import scales_of
from fem.scene.offscreen_renderer import Viewport, actors_of, aim, light
from fem.scene.result_view import ResultView, solids
from fem.scene.still.layout import extent
from fem.scene.still.readouts import readouts
from fem.scene.window.frame import SIZE, Frame

STEP_TIME = 600
"""Time per step while playing (ms)."""

ZOOM = 1.1
"""Zoom factor of one step of the mouse wheel."""

MARGIN = 1.06
"""Visible size over the size that the tubes need."""

WARM_UP, SLOW = 3, 0.04
"""Number of first pictures that may be slow, and time (s) above which dragging the slider lags."""


class Window:
    """The window: what it shows, and its reactions to keys and mouse.

    All tubes share one parallel camera, so that they have one scale. States that were shown are
    cached, also on the graphics card, so that they reappear without delay.

    Parameters
    ----------
    views
        Views that are shown side by side.
    title
        Title of the window.
    cut, start
        Whether the tubes are cut open, and their shapes at rest shown, initially.
    off_screen
        Render without a screen.
    size
        Width and height (pixels).
    """

    def __init__(
        self,
        views: Sequence[ResultView],
        title: str,
        *,
        cut: bool = False,
        start: bool = True,
        off_screen: bool = False,
        size: tuple[int, int] = SIZE,
    ) -> None:
        self.cut, self.start, self.playing = cut, start, False
        self.step = self.last = max(len(view.rows) for view in views) - 1
        self._views, self._readouts = views, readouts(views)
        self._scales = scales_of(views)
        self._actors = cache(self._make_actors)
        self._shown: list[Any] = []
        self._drawn = 0
        self.plotter = _plotter(len(views) + 1, title, size, off_screen)
        self.plotter.set_background("white", all_renderers=True)
        self.plotter.link_views()
        self.camera: Any = self.plotter.camera
        for renderer in self.plotter.renderers:
            light(renderer)
        self.frame = Frame(self.plotter, views, self._readouts)
        self._slider: Any = None
        if self.last:
            self._slider = self.frame.add_slider(self.last, self._slid)
        self._connect()
        self.plotter.renderers[0].AddObserver("StartEvent", lambda *_: self._fit())
        self.front()

    def open(self) -> None:
        """Show the window until it is closed."""
        self.plotter.iren.create_timer(STEP_TIME)
        self.plotter.show(auto_close=True)

    def _connect(self) -> None:
        """Connect the mouse, and only those keys that are in `_key_actions`."""
        self.plotter.enable_terrain_style(
            mouse_wheel_zooms=ZOOM, shift_pans=True
        )  # z remains vertical
        interactor = self.plotter.iren
        interactor.clear_key_event_callbacks()
        interactor.interactor.RemoveObservers("CharEvent")  # else VTK reacts to w, e and others
        for key, action in self._key_actions().items():
            self.plotter.add_key_event(key, action)
        interactor.add_observer("TimerEvent", lambda *_: self.tick())

    def _key_actions(self) -> dict[str, Callable[[], Any]]:
        """Return the action of each key, by VTK's names of the keys."""
        return {
            "space": self.play_or_pause,
            "Right": lambda: self.show(self.step + 1),
            "Left": lambda: self.show(self.step - 1),
            "Home": lambda: self.show(0),
            "End": lambda: self.show(self.last),
            "c": lambda: self.show(self.step, cut=not self.cut),
            "s": lambda: self.show(self.step, start=not self.start),
            "plus": lambda: self.zoom(ZOOM),
            "minus": lambda: self.zoom(1 / ZOOM),
            "f": self.front,
            "p": self.save_picture,
            "q": self.plotter.close,
        }

    # ------------------------------------------------------------------------------------- actions

    def show(self, step: int, *, cut: bool | None = None, start: bool | None = None) -> None:
        """Show a step, or the nearest one if it is beyond the path."""
        self.cut = self.cut if cut is None else cut
        self.start = self.start if start is None else start
        self.step = min(max(step, 0), self.last)
        for renderer, actor in self._shown:
            renderer.RemoveActor(actor)
        self._shown = []
        for number, view in enumerate(self._views):
            own = min(self.step, len(view.rows) - 1)
            lines = [line.line(view, view.rows[own]) for line in self._readouts]
            self.frame.values[number].input = "\n".join(lines)
            for role, actor in self._actors(number, own, self.cut):
                if self.start or role != "start":
                    self._shown.append((self.plotter.renderers[number + 1], actor))
        for renderer, actor in self._shown:
            renderer.AddActor(actor)
        self.frame.legend[START_TITLE].visibility = self.start
        if self._slider:
            self._slider.GetRepresentation().SetValue(self.step)
        self._draw()

    def _make_actors(self, number: int, step: int, cut: bool) -> list[tuple[str, Any]]:
        """Return the actors of a state of a view, with their roles."""
        return [
            (solid.role, actor)
            for solid in solids(self._views[number], step, cut=cut)
            for actor in actors_of([solid], self._scales, cut=cut)
        ]

    def _draw(self) -> None:
        """Draw; without smooth edges if they are too slow, as without a graphics card."""
        start = time.perf_counter()
        self.plotter.render()
        self._drawn += 1
        if self._drawn > WARM_UP and time.perf_counter() - start > SLOW:
            self.plotter.render_window.SetMultiSamples(0)

    def _fit(self) -> None:
        """Before each picture: fit clipping planes and text."""
        self.camera.clipping_range = self._depth
        self.frame.fit()

    def _slid(self, value: float) -> None:
        if round(value) != self.step:
            self.show(round(value))
        elif self._slider:
            self._slider.GetRepresentation().SetValue(self.step)

    def play_or_pause(self) -> None:
        """Play the steps up to the last one, from the first if it is shown already; or stop."""
        self.playing = not self.playing and self.last > 0
        if self.playing and self.step == self.last:
            self.show(0)

    def tick(self) -> None:
        """Show the next step while playing."""
        if self.playing:
            self.show(self.step + 1)
            self.playing = self.step < self.last

    def front(self) -> None:
        """Look from the front and slightly from above, with all tubes completely visible."""
        extents = [extent(view.case, view.shapes) for view in self._views]
        halves, lows, tops = (np.array(column) for column in zip(*extents, strict=True))
        width, height = self.plotter.renderers[1].GetSize()
        needed = tops.max() - lows.min()
        half = MARGIN / 2 * max(needed, 2 * halves.max() * height / max(width, 1))
        middle = (lows.min() + tops.max()) / 2
        distance = aim(self.camera, Viewport(-half, half, middle - half, middle + half))
        self._depth = 0.1 * distance, 2 * distance  # for any direction of view
        self.show(self.step)

    def zoom(self, factor: float) -> None:
        """Magnify everything by a factor."""
        self.camera.zoom(factor)
        self._draw()

    def save_picture(self) -> Path:
        """Write what the window shows into the current folder, with a message; return the file."""
        numbers = (number for number in range(1, 10_000))
        file = next(
            path for path in (Path(f"view-{number}.png") for number in numbers) if not path.exists()
        )
        try:
            with in_place_of(file) as part:
                self.plotter.screenshot(part)
            self.frame.message.input = f"written: {file}"
        except OSError as error:
            self.frame.message.input = f"{file} cannot be written: {error.strerror}"
        self._draw()
        return file


def _plotter(renderers: int, title: str, size: tuple[int, int], off_screen: bool) -> Any:
    """Return a pyvista.Plotter with a number of renderers."""
    import pyvista

    return pyvista.Plotter(
        shape=(1, renderers),
        border=False,
        window_size=list(size),
        title=title,
        lighting="none",
        off_screen=off_screen,
    )
