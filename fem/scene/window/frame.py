"""The parts of the window around the tubes: titles, values, slider, colour bars, legend."""

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
from fem.scene.still.layout import heads, notes
from fem.scene.still.legend import ticks_of
from fem.wording.picture_text import DEFAULT_FONT, INK

if TYPE_CHECKING:
    from fem.scene.colours import Scale, Scales
    from fem.scene.result_view import ResultView
    from fem.scene.still.readouts import Readout

SIZE = 1360, 880
"""Initial width and height of the window (pixels); text is scaled with it."""

LEFT, RIGHT, TOP = 0.17, 0.81, 0.93
FOOT, LINE = 0.15, 0.0262
"""Region of the tubes, above a foot and one line per value; over the size of the window."""

BAR, TITLE = 0.22, 0.035
"""Height of a colour bar and of a title, over that of the window."""

SAMPLES = {
    NO_TENSION_TITLE: (NO_TENSION, "\N{BOX DRAWINGS LIGHT DOUBLE DASH HORIZONTAL}"),
    MARK_TITLE: (MARK, "\N{BOX DRAWINGS HEAVY HORIZONTAL}"),
    START_TITLE: (START, "\N{BOX DRAWINGS LIGHT HORIZONTAL}"),
}
"""Colours of the lines of the picture, and similar characters, by label."""

MAX_SCALE_BAR = 0.09
"""Greatest length of the scale bar over the width of the window."""

NORMAL, FINE, SMALL, MANY = 17, 14, 12, 5
"""Font sizes in a window of `SIZE` (pixels), and number of tubes from which values are small."""

FONT_FILE = 4
"""VTK's number for a font from a file, which has arrows; VTK's own fonts do not."""

HELP = (
    "space  play, pause     \N{LEFTWARDS ARROW} \N{RIGHTWARDS ARROW}  step     c  cut open     "
    "s  shape at rest     f  front view     p  picture     q  close     mouse  rotate     "
    "wheel, + \N{MINUS SIGN}  zoom"
)


class Frame:
    """Everything in a window except the tubes, which have one renderer each, after the first.

    Attributes
    ----------
    values
        The actor with the values of each view.
    message
        The actor with the message above the key help.
    legend
        The actors of the legend, by label.
    """

    def __init__(self, plotter: Any, views: Sequence[ResultView], lines: Sequence[Readout]) -> None:
        self._plotter = plotter
        self._fonts: list[tuple[Any, int]] = []
        plotter.renderers[0].viewport = (0, 0, 1, 1)
        floor = FOOT + LINE * len(lines)
        width = (RIGHT - LEFT) / len(views)
        self.values = []
        for number, head in enumerate(heads(views)):
            left, size = LEFT + number * width, NORMAL if len(views) < MANY else SMALL
            plotter.renderers[number + 1].viewport = (left, floor, left + width, TOP)
            self._text((left + width / 2, 0.985), "\n".join(head), size, "center")
            self.values.append(self._text((left + width / 2, floor - 0.01), size=size, at="center"))
        self._text((0.012, floor - 0.01), "\n".join(line.title for line in lines), size)
        self._text((0.012, 0.035), HELP, FINE)
        self.message = self._text((0.012, 0.065), "  ".join(notes(views)), FINE)
        self.legend = self._add_legend(scales_of(views))
        self._add_scale_bar(0.012, floor + 0.02)

    def _text(
        self, place: tuple[float, float], text: str = "", size: int = NORMAL, at: str = "left"
    ) -> Any:
        """Add text below a position in the window; return its actor."""
        actor = self._plotter.add_text(text, position=place, viewport=True, render=False)
        actor.prop.justification_horizontal = at
        actor.prop.justification_vertical = "top"
        actor.prop.SetLineSpacing(1.3)
        self._set_font(actor.prop, size)
        return actor

    def _set_font(self, style: Any, size: int) -> None:
        """Set a vtkTextProperty to the font of the pictures; size 0 keeps its size."""
        style.SetFontFamily(FONT_FILE)
        style.SetFontFile(findfont(DEFAULT_FONT))
        style.SetColor(*to_rgb(INK))
        if size:
            self._fonts.append((style, size))

    def _add_legend(self, scales: Scales) -> dict[str, Any]:
        """Add a colour bar for each quantity, and a sample of each line; return the samples."""
        top = 0.95
        for scale in scales:
            self._colour_bar(scale, top - TITLE - BAR)
            top -= TITLE + BAR + 0.03
        legend = {}
        for name, (colour, stroke) in SAMPLES.items():
            if name != NO_TENSION_TITLE or scales.tension:
                legend[name] = self._text((RIGHT + 0.02, top), f"{3 * stroke}  {name}")
                legend[name].prop.color = colour
                top -= TITLE
        return legend

    def _colour_bar(self, scale: Scale, bottom: float) -> None:
        """Add the colour bar of a quantity, with its title above and round values at its side."""
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
        self._set_font(bar.GetLabelTextProperty(), SMALL)

    def add_slider(self, last: int, callback: Callable[[float], None]) -> Any:
        """Add the slider over the steps, from 0 to the last; return the widget."""
        style = {"color": INK, "fmt": "step {:.0f}", "slider_width": 0.018, "tube_width": 0.004}
        place = {"pointa": (LEFT, 0.085), "pointb": (RIGHT, 0.085)}
        slider = self._plotter.add_slider_widget(
            callback, (0, last), value=last, interaction_event="always", **place, **style
        )
        slider.GetRepresentation().SetEndCapLength(0.0)
        slider.GetRepresentation().SetLabelHeight(0.018)
        self._set_font(slider.GetRepresentation().GetLabelProperty(), 0)
        return slider

    def _add_scale_bar(self, left: float, bottom: float) -> None:
        """Add the scale bar: an axis of pyvista in the plane of the window."""
        place = left, bottom, 0
        self._ruler = self._plotter.add_ruler(place, place, title="", show_labels=False)
        self._ruler.GetProperty().SetColor(*to_rgb(INK))
        self._ruler.GetProperty().SetLineWidth(2)
        self._ruler.GetPositionCoordinate().SetCoordinateSystemToNormalizedViewport()
        self._ruler.GetPosition2Coordinate().SetCoordinateSystemToNormalizedViewport()
        self._length = self._text((left, bottom + 0.03))

    @property
    def pixels_to_mm(self) -> float:
        """Pixels of the window per millimetre perpendicular to the line of sight."""
        tube = self._plotter.renderers[1]
        return float(tube.GetSize()[1] / (2 * tube.camera.parallel_scale))

    @property
    def scale_bar(self) -> tuple[float, float]:
        """Length of the scale bar, round, in mm and in pixels."""
        length = round_length(MAX_SCALE_BAR * self._plotter.window_size[0] / self.pixels_to_mm)
        return length, length * self.pixels_to_mm

    def fit(self) -> None:
        """Fit text and scale bar to the size of the window and to the camera."""
        width, height = self._plotter.window_size
        for style, size in self._fonts:
            style.SetFontSize(round(size * min(width / SIZE[0], height / SIZE[1])))
        length, pixels = self.scale_bar
        left, bottom, _ = self._ruler.GetPositionCoordinate().GetValue()
        self._ruler.GetPosition2Coordinate().SetValue(left + pixels / width, bottom, 0)
        self._length.input = f"{length:g} mm"
