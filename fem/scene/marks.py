"""Drawings over rendered tubes, and descriptions of their threads, the same in all pictures."""

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

FAMILY_WIDTH = 1.7
"""Width of the description of a family (in)."""

MIN_TWIST = math.radians(4)
"""A smaller twist is not drawn: its arrow would be shorter than the arrowhead."""


def draw_length(axes: Axes, x: float, height: float, scale: float, text: str) -> list[Artist]:
    """Draw the distance of the plates, `height` (mm), as a vertical dimension line.

    Parameters
    ----------
    axes
        Axes in mm of the screen plane.
    x
        Position of the line (mm).
    height
        Distance of the plates (mm).
    scale
        Millimetres per inch of the page.
    text
        Label of the line.
    """
    ends = project(np.array([[0.0, 0.0, 0.0], [0.0, 0.0, height]]))[:, 1]
    tick = 0.05 * scale
    lines = axes.plot([x, x], ends, color=GREY, lw=0.8)
    for end in ends:
        lines += axes.plot([x - tick, x + tick], [end, end], color=GREY, lw=0.8)
    place = x - 0.06 * scale, float(ends.mean())
    label = axes.text(*place, text, size=8.5, rotation=90, ha="right", va="center", color=INK)
    return [*lines, label]


def draw_twist(
    axes: Axes, centre: float, tube: Tube, height: float, twist: float, scale: float
) -> list[Artist]:
    """Draw an arrow from the index mark of the free end at rest to the present one.

    It is a spiral for more than one turn. The parameters are those of `draw_length`; `centre` is
    the position of the axis of the tube (mm), `twist` is in rad.
    """
    if abs(twist) <= MIN_TWIST:
        return []
    radius = FREE_PLATE * tube.outer_radius
    top = height + PLATE_DEPTH * tube.outer_radius
    offset = np.array([centre, 0.0])
    at_rest = project(polar_points(np.array([0.0, radius]), FRONT, top)) + offset
    drawn = axes.plot(*at_rest.T, color=MARK, lw=1.0, ls=(0, (2, 1.5)), gid="rest mark")
    share = np.linspace(0, 1, 30 + int(60 * abs(twist)))
    inner = 0.7 if abs(twist) < 2 * math.pi else 0.35
    spiral = radius * (inner + (0.85 - inner) * share)
    arc = project(polar_points(spiral, FRONT + twist * share, top)) + offset
    drawn += axes.plot(*arc.T, color=INK, lw=0.9, gid="twist")
    head = float(np.clip(0.2 * radius / scale * 72, 4, 9))
    arrow = {"arrowstyle": "-|>", "color": INK, "lw": 0.9, "mutation_scale": head}
    style = {**arrow, "shrinkA": 0, "shrinkB": 0}
    return [*drawn, axes.annotate("", arc[-1], arc[-2], arrowprops=style)]


def round_length(most: float) -> float:
    """Return the greatest 1, 2 or 5 times a power of ten that is at most `most`."""
    power = 10.0 ** math.floor(math.log10(most))
    return max(step * power for step in (1, 2, 5) if step * power <= most)


def draw_families(page: Axes, families: Sequence[ThreadFamily], x: float, y: float) -> float:
    """List the families, each with a line at its helix angle; return the height below (in)."""
    if not families:
        write(page, x, y, "no threads", size=9)
        return y - 0.4
    for family in families:
        sine, cosine = 0.13 * math.sin(family.angle), 0.13 * math.cos(family.angle)
        middle = x + 0.15, y - 0.08
        ends = [middle[0] - sine, middle[0] + sine], [middle[1] - cosine, middle[1] + cosine]
        page.plot(*ends, color=INK, lw=1.4)
        write(page, x + 0.42, y, "\n".join(family_text(family)), size=9)
        y -= family_height(family)
    return y - 0.1


def family_text(family: ThreadFamily) -> list[str]:
    """Return the lines that describe a family in the legend of a picture."""
    angle, *others = family_words(family)
    parts = [family.name, angle.replace("-", MINUS), *others]
    text = ", ".join(word.replace(" ", "\N{NO-BREAK SPACE}") for word in parts)
    return wrapped(text, FAMILY_WIDTH, 9)


def family_height(family: ThreadFamily) -> float:
    """Return the height of the entry of a family in the legend of a picture (in)."""
    return 0.2 + 0.15 * len(family_text(family))
