"""Where things are in the window: tubes, read-outs below them, keys at the right."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from fem.scene.colours import scales_of
from fem.scene.offscreen_renderer import light
from fem.scene.still.layout import heads, notes
from fem.scene.still.readouts import Readout
from fem.scene.window.camera import Camera
from fem.scene.window.legend import draw_legend
from fem.scene.window.overlay import Stroke, Words, plain
from fem.scene.window.viewport import Viewport
from fem.wording.picture_text import GREY, INK

if TYPE_CHECKING:
    from fem.scene.result_view import Exhibit

SIZE = 1360, 880
"""Width and height of the window when it opens (pixels)."""

LEFT, RIGHT, TOP = 0.14, 0.82, 0.935
FOOT, LINE = 0.17, 0.0222
"""Where the tubes stand, above a foot and a line to each read-out; over the size of the window."""

CROWD = 5
"""From so many tubes on the letters are small."""

HELP = "     ".join(
    [
        "space  play, pause",
        "\N{LEFTWARDS ARROW} \N{RIGHTWARDS ARROW}  step",
        "c  cut open",
        "s  shape at rest",
        "f  front view",
        "p  picture",
        "q  close",
        "mouse  turn",
        "wheel, + \N{MINUS SIGN}  zoom",
    ]
)


def new_plotter(count: int, title: str, *, unseen: bool) -> Any:
    """Return a pyvista.Plotter with a renderer to each tube, and one that covers the window."""
    import pyvista

    return pyvista.Plotter(
        shape=(1, count + 1),
        border=False,
        window_size=list(SIZE),
        title=title,
        lighting="none",
        off_screen=unseen,
    )


class Contents:
    """All that stands in a window.

    Parameters
    ----------
    plotter
        Of `new_plotter`.
    exhibits
        What stands side by side.
    lines
        The lines of read-outs.

    Attributes
    ----------
    viewports, said
        To each exhibit its tube and its read-outs.
    samples
        The keys to lines, by their names.
    camera
        The camera.
    """

    def __init__(self, plotter: Any, exhibits: Sequence[Exhibit], lines: Sequence[Readout]) -> None:
        plotter.set_background("white", all_renderers=True)
        ground, *renderers = plotter.renderers
        ground.SetViewport(0, 0, 1, 1)
        ground.InteractiveOff()
        scales = scales_of(exhibits)
        self.viewports, self.said = list[Viewport](), list[Words]()
        floor = FOOT + LINE * len(lines)
        wide, size = (RIGHT - LEFT) / len(exhibits), 14 if len(exhibits) < CROWD else 11
        for number, (exhibit, head) in enumerate(zip(exhibits, heads(exhibits), strict=True)):
            left, renderer = LEFT + number * wide, renderers[number]
            renderer.SetViewport(left, floor, left + wide, TOP)
            light(renderer)
            self.viewports.append(Viewport(renderer, exhibit, scales))
            middle = left + wide / 2
            Words(ground, (middle, 0.985), "\n".join(head), size, "centre")
            self.said.append(Words(ground, (middle, floor - 0.02), "", size, "centre"))
        Words(ground, (0.012, floor - 0.02), "\n".join(line.title for line in lines), size)
        rule = floor - 0.01
        Stroke(ground, [((0.012, rule), (RIGHT, rule))], GREY, 1)
        Words(ground, (0.012, 0.03), HELP, size=13)
        self._told = Words(ground, (0.012, 0.062), "  ".join(notes(exhibits)), size=13)
        self.samples = draw_legend(ground, scales, RIGHT + 0.02)
        corner = 0.012, floor + 0.02
        self.camera = Camera(plotter.render_window, renderers, ground, exhibits, corner)

    @property
    def told(self) -> str:
        """What is said above the keys' meanings."""
        return self._told.text

    def tell(self, text: str) -> None:
        """Say something above the keys' meanings."""
        self._told.say(text)


def add_slider(plotter: Any, last: int, answer: Callable[[float], None]) -> Any:
    """Add the slider over the steps, from 0 to the last; return the widget."""
    plotter.subplot(0, 0)
    slider = plotter.add_slider_widget(
        answer,
        (0, last),
        value=last,
        pointa=(LEFT, 0.1),
        pointb=(RIGHT, 0.1),
        color=INK,
        fmt="step {:.0f}",
        interaction_event="always",
        slider_width=0.018,
        tube_width=0.004,
    )
    plotter.subplot(0, 1)  # what the mouse wheel zooms
    look = slider.GetRepresentation()
    look.SetEndCapLength(0.0)
    look.SetLabelHeight(0.018)
    plain(look.GetLabelProperty())
    return slider
