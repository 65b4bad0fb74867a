"""What is drawn over rendered tubes, and said of their threads, alike in all pictures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fem.case.thread_family import ThreadFamily
from fem.case.tube import Tube
from fem.core.units import MINUS
from fem.quantities.shape import polar_points
from fem.scene.appearance import MARK
from fem.scene.offscreen_renderer import project
from fem.scene.plates import FREE_PLATE, PLATE_DEPTH
from fem.scene.surface import FRONT
from fem.wording.picture_text import GREY, INK, wrapped, write
from fem.wording.run_sections import family_words

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

FAMILY_ROOM = 1.7
"""Width of the lines that describe a family (in)."""

MIN_TWIST = math.radians(4)
"""A smaller turn is not drawn: its arrow would be shorter than its head."""


def draw_length(stage: Axes, x: float, height: float, scale: float, text: str) -> list[Artist]:
    """Draw the distance of the plates, `height` (mm), as an upright dimension line.

    Parameters
    ----------
    stage
        Axes in mm of the screen plane.
    x
        Where it stands (mm).
    height
        Distance of the plates (mm).
    scale
        Millimetres to an inch of the page.
    text
        What stands beside it.
    """
    ends = project(np.array([[0.0, 0.0, 0.0], [0.0, 0.0, height]]))[:, 1]
    tick = 0.05 * scale
    lines = stage.plot([x, x], ends, color=GREY, lw=0.8)
    for end in ends:
        lines += stage.plot([x - tick, x + tick], [end, end], color=GREY, lw=0.8)
    place = x - 0.06 * scale, float(ends.mean())
    said = stage.text(*place, text, size=8.5, rotation=90, ha="right", va="center", color=INK)
    return [*lines, said]


def draw_turn(
    stage: Axes, centre: float, tube: Tube, height: float, twist: float, scale: float
) -> list[Artist]:
    """Draw an arrow from where the free end's index mark was at rest to where it is.

    It is a spiral if the end turns round. The parameters are those of `draw_length`; `centre` is
    the place of the tube's axis (mm), `twist` the turn (rad).
    """
    if abs(twist) <= MIN_TWIST:
        return []
    radius = FREE_PLATE * tube.outer_radius
    top = height + PLATE_DEPTH * tube.outer_radius
    shift = np.array([centre, 0.0])
    at_rest = project(polar_points(np.array([0.0, radius]), FRONT, top)) + shift
    drawn = stage.plot(*at_rest.T, color=MARK, lw=1.0, ls=(0, (2, 1.5)), gid="rest mark")
    share = np.linspace(0, 1, 30 + int(60 * abs(twist)))
    inner = 0.7 if abs(twist) < 2 * math.pi else 0.35
    bow = radius * (inner + (0.85 - inner) * share)
    arc = project(polar_points(bow, FRONT + twist * share, top)) + shift
    drawn += stage.plot(*arc.T, color=INK, lw=0.9, gid="turn")
    head = float(np.clip(0.2 * radius / scale * 72, 4, 9))
    arrow = {"arrowstyle": "-|>", "color": INK, "lw": 0.9, "mutation_scale": head}
    style = {**arrow, "shrinkA": 0, "shrinkB": 0}
    return [*drawn, stage.annotate("", arc[-1], arc[-2], arrowprops=style)]


def round_length(most: float) -> float:
    """Return the greatest of 1, 2 and 5 times a power of ten that is `most` or less."""
    power = 10.0 ** math.floor(math.log10(most))
    return max(step * power for step in (1, 2, 5) if step * power <= most)


def draw_families(page: Axes, families: Sequence[ThreadFamily], x: float, y: float) -> float:
    """List the families, a stroke at the helix angle before each; return the height below (in)."""
    if not families:
        write(page, x, y, "no threads", size=9)
        return y - 0.4
    for family in families:
        sine, cosine = 0.13 * math.sin(family.angle), 0.13 * math.cos(family.angle)
        across, up = [x + 0.15 - sine, x + 0.15 + sine], [y - 0.08 - cosine, y - 0.08 + cosine]
        page.plot(across, up, color=INK, lw=1.4)
        write(page, x + 0.42, y, "\n".join(family_text(family)), size=9)
        y -= family_room(family)
    return y - 0.1


def family_text(family: ThreadFamily) -> list[str]:
    """Return the lines that describe a family in the keys of a picture."""
    angle, *others = family_words(family)
    said = [family.name, angle.replace("-", MINUS), *others]
    text = ", ".join(word.replace(" ", "\N{NO-BREAK SPACE}") for word in said)
    return wrapped(text, FAMILY_ROOM, 9)


def family_room(family: ThreadFamily) -> float:
    """Return the height of a family's entry in the keys of a picture (in)."""
    return 0.2 + 0.15 * len(family_text(family))
