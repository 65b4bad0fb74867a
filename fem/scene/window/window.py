"""The window as it answers: steps, play, cut, pictures."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fem.scene.appearance import START_TITLE
from fem.scene.still.readouts import readouts
from fem.scene.window.layout import Contents, add_slider, new_plotter

if TYPE_CHECKING:
    from fem.scene.result_view import Exhibit

PACE = 600
"""Time of a step while it plays (ms)."""

ZOOM = 1.1
"""By how much a turn of the mouse wheel enlarges."""

WARM, SLOW = 3, 0.04
"""After so many pictures one that takes longer (s) is felt when the slider is dragged."""


class Window:
    """What the window shows, and how it answers.

    Parameters
    ----------
    exhibits
        What stands side by side.
    title
        Title of the window.
    cut, start
        Whether the tubes are cut open, and their shapes at rest shown, to begin with.
    unseen
        Draw without a screen.
    """

    def __init__(
        self,
        exhibits: Sequence[Exhibit],
        title: str,
        *,
        cut: bool = False,
        start: bool = True,
        unseen: bool = False,
    ) -> None:
        self.cut, self.start, self.playing = cut, start, False
        self.last = max(len(exhibit.rows) for exhibit in exhibits) - 1
        self.step = self.last
        self._exhibits, self._readouts = exhibits, readouts(exhibits)
        self.plotter = new_plotter(len(exhibits), title, unseen=unseen)
        self.contents = Contents(self.plotter, exhibits, self._readouts)
        self._timer: int | None = None
        self._drawn = 0
        self._slider: Any = None
        if self.last:
            self._slider = add_slider(self.plotter, self.last, self._slid)
        self._listen()
        self.contents.camera.front()
        self.show(self.step)

    def open(self) -> None:
        """Show the window until it is closed."""
        self.plotter.show(auto_close=True)

    def _draw(self) -> None:
        """Draw; without smooth edges once they prove too slow, as without a graphics card."""
        began = time.perf_counter()
        self.plotter.render()
        self._drawn += 1
        if self._drawn > WARM and time.perf_counter() - began > SLOW:
            self.plotter.render_window.SetMultiSamples(0)

    def _listen(self) -> None:
        """Take the mouse, and of the keys those of `_answers` alone."""
        # z stays up; pyvista's own zoom would take the renderer that covers the window
        self.plotter.enable_terrain_style(mouse_wheel_zooms=False, shift_pans=True)
        interactor = self.plotter.iren
        style = interactor.get_interactor_style()
        style.AutoAdjustCameraClippingRangeOff()  # see Camera.front
        for way, answer in (("Forward", self.nearer), ("Backward", self.farther)):
            style.AddObserver(f"MouseWheel{way}Event", lambda *_, answer=answer: answer())
        interactor.clear_key_event_callbacks()
        interactor.interactor.RemoveObservers("CharEvent")  # to VTK, w, e and others mean something
        for key, answer in self._answers().items():
            interactor.add_key_event(key, answer)
        interactor.add_observer("TimerEvent", lambda *_: self.tick())

    def _answers(self) -> dict[str, Callable[[], Any]]:
        """Return what each key does, by VTK's names of the keys."""
        return {
            "space": self.play_or_pause,
            "Right": lambda: self.show(self.step + 1),
            "Left": lambda: self.show(self.step - 1),
            "Home": lambda: self.show(0),
            "End": lambda: self.show(self.last),
            "c": self.toggle_cut,
            "s": self.toggle_start,
            "plus": self.nearer,
            "minus": self.farther,
            "f": self.front,
            "p": self.save_picture,
            "q": self.plotter.close,
        }

    # ------------------------------------------------------------------------------------- answers

    def show(self, step: int) -> None:
        """Show a step; beyond the ends of the path, the nearest there is."""
        self.step = min(max(step, 0), self.last)
        for exhibit, viewport, said in zip(
            self._exhibits, self.contents.viewports, self.contents.said, strict=True
        ):
            row = viewport.show(self.step, cut=self.cut, start=self.start)
            said.say("\n".join(readout.show(exhibit, row) for readout in self._readouts))
        self.contents.samples[START_TITLE].show(self.start)
        if self._slider:
            self._slider.GetRepresentation().SetValue(self.step)
        self._draw()

    def _slid(self, value: float) -> None:
        if round(value) != self.step:
            self.show(round(value))
        elif self._slider:
            self._slider.GetRepresentation().SetValue(self.step)

    def play_or_pause(self) -> None:
        """Play the steps to the last, from the first if it is there already; or stop."""
        self.playing = not self.playing and self.last > 0
        timers = self.plotter.iren.interactor
        if self._timer is not None:
            timers.DestroyTimer(self._timer)
            self._timer = None
        if self.playing:
            if self.step == self.last:
                self.show(0)
            self._timer = timers.CreateRepeatingTimer(PACE)

    def tick(self) -> None:
        """Go on by a step while it plays."""
        if not self.playing:
            return
        self.show(self.step + 1)
        if self.step == self.last:
            self.play_or_pause()

    def toggle_cut(self) -> None:
        """Cut the tubes open, or close them."""
        self.cut = not self.cut
        self.show(self.step)

    def toggle_start(self) -> None:
        """Show the shapes at rest too, or not."""
        self.start = not self.start
        self.show(self.step)

    def front(self) -> None:
        """Look from the front again."""
        self.contents.camera.front()
        self._draw()

    def nearer(self) -> None:
        """Show everything larger."""
        self.contents.camera.zoom(ZOOM)
        self._draw()

    def farther(self) -> None:
        """Show everything smaller."""
        self.contents.camera.zoom(1 / ZOOM)
        self._draw()

    def save_picture(self) -> Path:
        """Write what the window shows into the present folder, and say so; return the file."""
        numbers = (number for number in range(1, 10_000))
        file = next(
            path for path in (Path(f"view-{number}.png") for number in numbers) if not path.exists()
        )
        try:
            self.plotter.screenshot(file)
            self.contents.tell(f"written: {file}")
        except OSError as error:
            self.contents.tell(f"{file} cannot be written: {error.strerror}")
        self._draw()
        return file
