"""The window as it answers: steps, play, cut, pictures."""

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
"""Time of a step while it plays (ms)."""

ZOOM = 1.1
"""By how much a turn of the mouse wheel enlarges."""

AIR = 1.06
"""What is seen over what the tubes need."""

WARM, SLOW = 3, 0.04
"""After so many pictures one that takes longer (s) is felt when the slider is dragged."""


class Window:
    """What the window shows, and how it answers.

    All tubes share one parallel camera, so that they are seen at one scale. What was shown once is
    kept, on the graphics card too, so that it comes back at once.

    Parameters
    ----------
    views
        What stands side by side.
    title
        Title of the window.
    cut, start
        Whether the tubes are cut open, and their shapes at rest shown, to begin with.
    off_screen
        Draw without a screen.
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
        self._listen()
        self.plotter.renderers[0].AddObserver("StartEvent", lambda *_: self._fit())
        self.front()

    def open(self) -> None:
        """Show the window until it is closed."""
        self.plotter.iren.create_timer(STEP_TIME)
        self.plotter.show(auto_close=True)

    def _listen(self) -> None:
        """Take the mouse, and of the keys those of `_answers` alone."""
        self.plotter.enable_terrain_style(mouse_wheel_zooms=ZOOM, shift_pans=True)  # z stays up
        interactor = self.plotter.iren
        interactor.clear_key_event_callbacks()
        interactor.interactor.RemoveObservers("CharEvent")  # to VTK, w, e and others mean something
        for key, answer in self._answers().items():
            self.plotter.add_key_event(key, answer)
        interactor.add_observer("TimerEvent", lambda *_: self.tick())

    def _answers(self) -> dict[str, Callable[[], Any]]:
        """Return what each key does, by VTK's names of the keys."""
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

    # ------------------------------------------------------------------------------------- answers

    def show(self, step: int, *, cut: bool | None = None, start: bool | None = None) -> None:
        """Show a step; beyond the ends of the path, the nearest there is."""
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
        self.frame.keys[START_TITLE].visibility = self.start
        if self._slider:
            self._slider.GetRepresentation().SetValue(self.step)
        self._draw()

    def _make_actors(self, number: int, step: int, cut: bool) -> list[tuple[str, Any]]:
        """Return what there is to see of a state of an view, with its roles."""
        return [
            (solid.role, actor)
            for solid in solids(self._views[number], step, cut=cut)
            for actor in actors_of([solid], self._scales, cut=cut)
        ]

    def _draw(self) -> None:
        """Draw; without smooth edges once they prove too slow, as without a graphics card."""
        began = time.perf_counter()
        self.plotter.render()
        self._drawn += 1
        if self._drawn > WARM and time.perf_counter() - began > SLOW:
            self.plotter.render_window.SetMultiSamples(0)

    def _fit(self) -> None:
        """Before each picture: all tubes lie between the near and the far plane, letters fit."""
        self.camera.clipping_range = self._depth
        self.frame.fit()

    def _slid(self, value: float) -> None:
        if round(value) != self.step:
            self.show(round(value))
        elif self._slider:
            self._slider.GetRepresentation().SetValue(self.step)

    def play_or_pause(self) -> None:
        """Play the steps to the last, from the first if it is there already; or stop."""
        self.playing = not self.playing and self.last > 0
        if self.playing and self.step == self.last:
            self.show(0)

    def tick(self) -> None:
        """Go on by a step while it plays."""
        if self.playing:
            self.show(self.step + 1)
            self.playing = self.step < self.last

    def front(self) -> None:
        """Look from the front and a little from above, so that all tubes are seen whole."""
        extents = [extent(view.case, view.shapes) for view in self._views]
        halves, lows, tops = (np.array(column) for column in zip(*extents, strict=True))
        wide, tall = self.plotter.renderers[1].GetSize()
        height = tops.max() - lows.min()
        half = AIR / 2 * max(height, 2 * halves.max() * tall / max(wide, 1))
        middle = (lows.min() + tops.max()) / 2
        distance = aim(self.camera, Viewport(-half, half, middle - half, middle + half))
        self._depth = 0.1 * distance, 2 * distance  # whatever it is turned to
        self.show(self.step)

    def zoom(self, factor: float) -> None:
        """Show everything so many times as large."""
        self.camera.zoom(factor)
        self._draw()

    def save_picture(self) -> Path:
        """Write what the window shows into the present folder, and say so; return the file."""
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
    """Return a pyvista.Plotter with so many renderers."""
    import pyvista

    return pyvista.Plotter(
        shape=(1, renderers),
        border=False,
        window_size=list(size),
        title=title,
        lighting="none",
        off_screen=off_screen,
    )
