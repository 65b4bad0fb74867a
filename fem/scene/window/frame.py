"""What stands around the tubes of the window: titles, read-outs, slider, colour bars, keys."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.colors import ListedColormap, to_rgb
from matplotlib.font_manager import findfont

from fem.scene.appearance import MARK, MARK_TITLE, NO_TENSION_TITLE, START, START_TITLE
from fem.scene.colours import scales_of
from fem.scene.marks import round_length
from fem.scene.solids import NO_TENSION
from fem.scene.still.keys import ticks_of
from fem.scene.still.layout import heads, notes
from fem.wording.picture_text import INK

if TYPE_CHECKING:
    from fem.scene.colours import Scale, Scales
    from fem.scene.result_view import ResultView
    from fem.scene.still.readouts import Readout

SIZE = 1360, 880
"""Width and height of the window when it opens (pixels); letters grow and shrink with it."""

LEFT, RIGHT, TOP = 0.17, 0.81, 0.93
FOOT, LINE = 0.15, 0.0262
"""Where the tubes stand, above a foot and a line to each read-out; over the size of the window."""

BAR, TITLE = 0.22, 0.035
"""Height of a colour bar and of a title, over that of the window."""

SAMPLES = {
    NO_TENSION_TITLE: (NO_TENSION, "\N{BOX DRAWINGS LIGHT DOUBLE DASH HORIZONTAL}"),
    MARK_TITLE: (MARK, "\N{BOX DRAWINGS HEAVY HORIZONTAL}"),
    START_TITLE: (START, "\N{BOX DRAWINGS LIGHT HORIZONTAL}"),
}
"""Colours of the lines of the picture, and the letters that look like them, by their names."""

LONGEST = 0.09
"""Greatest length of the scale bar over the width of the window."""

LETTERS, FINE, SMALL, CROWD = 17, 14, 12, 5
"""Heights of letters in a window of `SIZE` (pixels); from so many tubes on read-outs are small."""

FONT_FILE = 4
"""VTK's number for letters from a file: they have the arrows that its own lack."""

HELP = (
    "space  play, pause     \N{LEFTWARDS ARROW} \N{RIGHTWARDS ARROW}  step     c  cut open     "
    "s  shape at rest     f  front view     p  picture     q  close     mouse  turn     "
    "wheel, + \N{MINUS SIGN}  zoom"
)


class Frame:
    """All that stands in a window but for the tubes, which have a renderer each after the first.

    Attributes
    ----------
    values
        For each view the actor with its read-outs.
    message
        The actor with what is said above the keys' meanings.
    keys
        The actors that say what the lines of the picture mean, by the names of the lines.
    """

    def __init__(self, plotter: Any, views: Sequence[ResultView], lines: Sequence[Readout]) -> None:
        self._plotter = plotter
        self._fonts: list[tuple[Any, int]] = []
        plotter.renderers[0].viewport = (0, 0, 1, 1)
        floor = FOOT + LINE * len(lines)
        wide = (RIGHT - LEFT) / len(views)
        self.values = []
        for number, head in enumerate(heads(views)):
            left, size = LEFT + number * wide, LETTERS if len(views) < CROWD else SMALL
            plotter.renderers[number + 1].viewport = (left, floor, left + wide, TOP)
            self._text((left + wide / 2, 0.985), "\n".join(head), size, "center")
            self.values.append(self._text((left + wide / 2, floor - 0.01), size=size, at="center"))
        self._text((0.012, floor - 0.01), "\n".join(line.title for line in lines), size)
        self._text((0.012, 0.035), HELP, FINE)
        self.message = self._text((0.012, 0.065), "  ".join(notes(views)), FINE)
        self.keys = self._add_keys(scales_of(views))
        self._add_scale_bar(0.012, floor + 0.02)

    def _text(
        self, place: tuple[float, float], text: str = "", size: int = LETTERS, at: str = "left"
    ) -> Any:
        """Add text below a place of the window; return its actor."""
        actor = self._plotter.add_text(text, position=place, viewport=True, render=False)
        actor.prop.justification_horizontal = at
        actor.prop.justification_vertical = "top"
        actor.prop.SetLineSpacing(1.3)
        self._letters(actor.prop, size)
        return actor

    def _letters(self, style: Any, size: int) -> None:
        """Set a vtkTextProperty to the letters of the pictures; 0 leaves their size as it is."""
        style.SetFontFamily(FONT_FILE)
        style.SetFontFile(findfont("DejaVu Sans"))
        style.SetColor(*to_rgb(INK))
        if size:
            self._fonts.append((style, size))

    def _add_keys(self, scales: Scales) -> dict[str, Any]:
        """Add a colour bar to each quantity, and a sample of each line; return the samples."""
        top = 0.95
        for scale in scales:
            self._colour_bar(scale, top - TITLE - BAR)
            top -= TITLE + BAR + 0.03
        keys = {}
        for name, (colour, stroke) in SAMPLES.items():
            if name != NO_TENSION_TITLE or scales.tension:
                keys[name] = self._text((RIGHT + 0.02, top), f"{3 * stroke}  {name}")
                keys[name].prop.color = colour
                top -= TITLE
        return keys

    def _colour_bar(self, scale: Scale, bottom: float) -> None:
        """Add the colour bar of a quantity, with its title above and round values beside it."""
        import pyvista

        self._text((RIGHT + 0.02, bottom + BAR + TITLE), scale.label)
        colours = {"cmap": ListedColormap(scale.colours / 255), "clim": (scale.low, scale.high)}
        place = {"position_x": RIGHT + 0.02, "position_y": bottom, "width": 0.05, "height": BAR}
        bar = self._plotter.add_scalar_bar(
            scale.label, vertical=True, fmt="{:.3g}", **colours, **place
        )
        bar.SetTitle("")
        bar.SetUseCustomLabels(True)
        bar.SetCustomLabels(pyvista.convert_array(np.array(ticks_of(scale))))
        bar.SetUnconstrainedFontSize(True)
        self._letters(bar.GetLabelTextProperty(), SMALL)

    def add_slider(self, last: int, answer: Callable[[float], None]) -> Any:
        """Add the slider over the steps, from 0 to the last; return the widget."""
        look = {"color": INK, "fmt": "step {:.0f}", "slider_width": 0.018, "tube_width": 0.004}
        place = {"pointa": (LEFT, 0.085), "pointb": (RIGHT, 0.085)}
        slider = self._plotter.add_slider_widget(
            answer, (0, last), value=last, interaction_event="always", **place, **look
        )
        slider.GetRepresentation().SetEndCapLength(0.0)
        slider.GetRepresentation().SetLabelHeight(0.018)
        self._letters(slider.GetRepresentation().GetLabelProperty(), 0)
        return slider

    def _add_scale_bar(self, left: float, up: float) -> None:
        """Add the scale bar: an axis of pyvista's, laid into the plane of the window."""
        place = left, up, 0
        self._ruler = self._plotter.add_ruler(place, place, title="", show_labels=False)
        self._ruler.GetProperty().SetColor(*to_rgb(INK))
        self._ruler.GetProperty().SetLineWidth(2)
        self._ruler.GetPositionCoordinate().SetCoordinateSystemToNormalizedViewport()
        self._ruler.GetPosition2Coordinate().SetCoordinateSystemToNormalizedViewport()
        self._length = self._text((left, up + 0.03))

    @property
    def pixels_to_mm(self) -> float:
        """Pixels of the window to a millimetre across the line of sight."""
        tube = self._plotter.renderers[1]
        return float(tube.GetSize()[1] / (2 * tube.camera.parallel_scale))

    @property
    def scale_bar(self) -> tuple[float, float]:
        """Length of the scale bar, round, in mm and in pixels."""
        length = round_length(LONGEST * self._plotter.window_size[0] / self.pixels_to_mm)
        return length, length * self.pixels_to_mm

    def fit(self) -> None:
        """Fit letters and scale bar to the size of the window and to the camera."""
        width, height = self._plotter.window_size
        for style, size in self._fonts:
            style.SetFontSize(round(size * min(width / SIZE[0], height / SIZE[1])))
        length, pixels = self.scale_bar
        left, up, _ = self._ruler.GetPositionCoordinate().GetValue()
        self._ruler.GetPosition2Coordinate().SetValue(left + pixels / width, up, 0)
        self._length.input = f"{length:g} mm"
