"""Dimensions laid over the tubes: lengths, turns, and the scale bar."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from fem.shape import polar_points
from fem.show.plates import FREE_PLATE, PLATE_DEPTH
from fem.show.render import project
from fem.show.skin import FRONT
from fem.show.still.stand import Stand
from fem.show.style import GREY, INK, MARK

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

LEAST_TURN = math.radians(4)
"""A smaller turn is not drawn: its arrow would be shorter than its head."""


def draw_length(stage: Axes, stand: Stand, number: int, height: float) -> list[Artist]:
    """Draw the distance of the plates, `height` (mm), as a dimension line left of a tube."""
    x = stand.centres[number] - stand.halves[number] - 0.14 * stand.scale
    ends = project(np.array([[0.0, 0.0, 0.0], [0.0, 0.0, height]]))[:, 1]
    tick = 0.05 * stand.scale
    lines = stage.plot([x, x], ends, color=GREY, lw=0.8)
    for end in ends:
        lines += stage.plot([x - tick, x + tick], [end, end], color=GREY, lw=0.8)
    place = x - 0.06 * stand.scale, float(ends.mean())
    text = f"{height:.1f} mm"
    said = stage.text(*place, text, size=8.5, rotation=90, ha="right", va="center", color=INK)
    return [*lines, said]


def draw_turn(stage: Axes, stand: Stand, number: int, height: float, twist: float) -> list[Artist]:
    """Draw an arrow from the free end's index mark at rest to where it is now, `twist` (rad) on.

    It is a spiral if the end turns round.
    """
    if abs(twist) < LEAST_TURN:
        return []
    tube = stand.exhibits[number].case.tube
    radius = FREE_PLATE * tube.outer_radius
    top = height + PLATE_DEPTH * tube.outer_radius
    shift = np.array([stand.centres[number], 0.0])
    spoke = polar_points(np.array([0.0, radius]), FRONT, top)
    at_rest = (project(spoke) + shift).T
    drawn = stage.plot(*at_rest, color=MARK, lw=1.0, ls=(0, (2, 1.5)), gid="rest mark")
    share = np.linspace(0, 1, 30 + int(60 * abs(twist)))
    inner = 0.7 if abs(twist) < 2 * math.pi else 0.35
    bow = radius * (inner + (0.85 - inner) * share)
    arc = project(polar_points(bow, FRONT + twist * share, top)) + shift
    drawn += stage.plot(*arc.T, color=INK, lw=0.9, gid="turn")
    head = float(np.clip(0.2 * radius / stand.scale * 72, 4, 9))
    arrow = {"arrowstyle": "-|>", "color": INK, "lw": 0.9, "mutation_scale": head}
    style = {**arrow, "shrinkA": 0, "shrinkB": 0}
    return [*drawn, stage.annotate("", arc[-1], arc[-2], arrowprops=style)]


def draw_scale_bar(page: Axes, stand: Stand) -> None:
    """Draw a bar of a round length left of the tubes; it is true across the line of sight."""
    power = 10.0 ** math.floor(math.log10(0.9 * stand.scale))
    length = max(step * power for step in (1, 2, 5) if step * power <= 0.9 * stand.scale)
    left, y = 0.3, stand.below + 0.12
    right = left + length / stand.scale
    page.plot([left, right], [y, y], color=INK, lw=2, solid_capstyle="butt", gid="scale")
    page.text(left, y + 0.06, f"{length:g} mm", size=8.5, color=INK)
