"""Tags: the names of the thread families beside a tube, each with a line to one of its threads."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fem.case.case import Case
from fem.core.arrays import Array
from fem.quantities.shape import Shape, turned
from fem.scene.offscreen_renderer import Viewport, facing, project
from fem.scene.plates import FREE_PLATE
from fem.wording.picture_text import INK, text_width, wrapped, write

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SIZE = 9.0
"""Size of the letters (pt)."""

ROOM, LINE = 1.1, 0.15
"""Width of the lines of a name at most, and height of one (in)."""

AWAY, GAP = 0.12, 0.05
"""From the tube to the end of the line, and from there to the name (in)."""

MOST = 1000
"""Places looked at on the threads of a family."""


def width(case: Case) -> float:
    """Return the room that tags need beside a tube (in)."""
    lines = [line for family in case.threads for line in _lines(family.name)]
    return AWAY + GAP + max((text_width(line, SIZE) for line in lines), default=0.0)


def height(case: Case) -> float:
    """Return the room that tags need one above the other (in)."""
    return _apart(case) * (len(case.threads) + 0.5)


def _apart(case: Case) -> float:
    """Return the least distance of two tags (in)."""
    return 0.05 + LINE * max((len(_lines(family.name)) for family in case.threads), default=0)


def _lines(name: str) -> list[str]:
    return wrapped(name, ROOM, SIZE)


def draw_tags(
    axes: Axes, shape: Shape, case: Case, length: float, place: tuple[float, float], scale: float
) -> None:
    """Name the families to the right of a tube.

    Parameters
    ----------
    axes
        In mm of the screen plane, showing the whole of what is drawn.
    shape, case
        The tube.
    length
        Distance of its plates (mm).
    place
        Place of its axis, and its half width (mm).
    scale
        Millimetres to an inch of the page.
    """
    families, (centre, half) = case.threads, place
    if not families:
        return
    radius = case.tube.outer_radius
    low = float(project(np.array([0.0, -radius, 0.0]))[1])
    rim = float(project(np.array([0.0, -FREE_PLATE * radius, length]))[1])
    wanted = low + (rim - low) * (np.arange(len(families)) + 0.5) / len(families)
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    levels = tag_levels(wanted, Viewport(left, right, bottom, top), _apart(case) * scale)
    spots = tag_spots(shape, wanted, (low, rim)) + np.array([centre, 0.0])
    x = centre + half + AWAY * scale
    for family, spot, level in zip(families, spots, levels, strict=True):
        axes.plot([spot[0], x], [spot[1], level], color=INK, lw=0.7)
        axes.plot(*spot, "o", ms=3.2, mfc="white", mec=INK, mew=0.8)
        name = "\n".join(_lines(family.name))
        write(axes, x + GAP * scale, level, name, va="center", size=SIZE, linespacing=1.1)


def tag_levels(wanted: Array, viewport: Viewport, least: float) -> Array:
    """Return the heights of tags (mm), shape (tags,), in the order of those that are wanted.

    They are evenly apart, by the `least` distance or more (mm), and in the viewport, which is high
    enough for them (:func:`height`).
    """
    count = len(wanted)
    apart = max(float(np.ptp(wanted)) / max(count - 1, 1), least)
    levels = wanted.mean() + apart * (np.arange(count) - (count - 1) / 2)
    margin = least / 2
    levels += max(0.0, viewport.bottom + margin - levels[0])
    return np.asarray(levels - max(0.0, levels[-1] - (viewport.top - margin)))


def tag_spots(shape: Shape, wanted: Array, within: tuple[float, float]) -> Array:
    """Return a place on a thread of each family, shape (families, 2), mm on the screen plane.

    They are on the right of the visible half, near the `wanted` heights, shape (families,), but
    inside the range `within`, and clear of the threads of other families.
    """
    middles = [turned(family.ends, shape.sectors).mean(axis=1) for family in shape.threads]
    family = np.repeat(np.arange(len(middles)), [len(some) for some in middles])
    middle = np.concatenate(middles)
    place = project(middle)
    towards = facing(middle * [1, 1, 0] / np.hypot(middle[:, 0], middle[:, 1])[:, None])
    low, high = within
    margin = 0.06 * (high - low)
    open_to_view = (place[:, 1] > low + margin) & (place[:, 1] < high - margin)
    eligible = (towards > 0.45) & (place[:, 0] > 0) & open_to_view
    spots = []
    for number, height in enumerate(wanted):
        mine = family == number
        others = place[~mine & (towards > 0.3)]
        mine = place[mine & eligible if (mine & eligible).any() else mine]
        mine, others = (some[:: 1 + len(some) // MOST] for some in (mine, others))
        clear = np.linalg.norm(mine[:, None] - others, axis=2).min(
            axis=1, initial=0.05 * (high - low)
        )
        spots.append(mine[np.argmin(np.abs(mine[:, 1] - height) - 3 * clear)])
    return np.array(spots)
