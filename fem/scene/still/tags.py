"""Labels of the thread families beside a tube, each with a line to one of its threads."""

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
"""Font size (pt)."""

MAX_WIDTH, LINE = 1.1, 0.15
"""Greatest width of a label, and height of one of its lines (in)."""

DISTANCE, GAP = 0.12, 0.05
"""From the tube to the end of the line, and from there to the label (in)."""

MAX_POINTS = 1000
"""Approximate greatest number of points considered on the threads of a family."""


def width(case: Case) -> float:
    """Return the width of the labels beside a tube (in)."""
    lines = [line for family in case.threads for line in _lines(family.name)]
    return DISTANCE + GAP + max((text_width(line, SIZE) for line in lines), default=0.0)


def height(case: Case) -> float:
    """Return the height of all labels of a tube (in)."""
    return _spacing(case) * (len(case.threads) + 0.5)


def _spacing(case: Case) -> float:
    """Return the least spacing of two labels (in)."""
    return 0.05 + LINE * max((len(_lines(family.name)) for family in case.threads), default=0)


def _lines(name: str) -> list[str]:
    return wrapped(name, MAX_WIDTH, SIZE)


def draw_tags(
    axes: Axes, shape: Shape, case: Case, length: float, place: tuple[float, float], scale: float
) -> None:
    """Label the families to the right of a tube.

    Parameters
    ----------
    axes
        Axes in mm of the screen plane, with the limits of the picture.
    shape, case
        The tube.
    length
        Distance of its plates (mm).
    place
        Position of its axis, and half its width (mm).
    scale
        Millimetres per inch of the page.
    """
    families, (centre, half) = case.threads, place
    if not families:
        return
    radius = case.tube.outer_radius
    low = float(project(np.array([0.0, -radius, 0.0]))[1])
    rim = float(project(np.array([0.0, -FREE_PLATE * radius, length]))[1])
    preferred = low + (rim - low) * (np.arange(len(families)) + 0.5) / len(families)
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    levels = tag_levels(preferred, Viewport(left, right, bottom, top), _spacing(case) * scale)
    spots = tag_spots(shape, preferred, (low, rim)) + np.array([centre, 0.0])
    x = centre + half + DISTANCE * scale
    for family, spot, level in zip(families, spots, levels, strict=True):
        axes.plot([spot[0], x], [spot[1], level], color=INK, lw=0.7)
        axes.plot(*spot, "o", ms=3.2, mfc="white", mec=INK, mew=0.8)
        name = "\n".join(_lines(family.name))
        write(axes, x + GAP * scale, level, name, va="center", size=SIZE, linespacing=1.1)


def tag_levels(preferred: Array, viewport: Viewport, least: float) -> Array:
    """Return the heights of labels (mm), shape (labels,), in the order of the preferred heights.

    Their spacing is equal, at least `least` (mm), and they are in the viewport, which must be high
    enough (:func:`height`).
    """
    count = len(preferred)
    spacing = max(float(np.ptp(preferred)) / max(count - 1, 1), least)
    levels = preferred.mean() + spacing * (np.arange(count) - (count - 1) / 2)
    margin = least / 2
    levels += max(0.0, viewport.bottom + margin - levels[0])
    return np.asarray(levels - max(0.0, levels[-1] - (viewport.top - margin)))


def tag_spots(shape: Shape, preferred: Array, within: tuple[float, float]) -> Array:
    """Return a point on a thread of each family, shape (families, 2), mm on the screen plane.

    They are at the right of the visible half, near the `preferred` heights, shape (families,),
    inside the range `within`, and away from the threads of other families.
    """
    middles = [turned(family.ends, shape.sectors).mean(axis=1) for family in shape.threads]
    family = np.repeat(np.arange(len(middles)), [len(some) for some in middles])
    middle = np.concatenate(middles)
    place = project(middle)
    towards = facing(middle * [1, 1, 0] / np.hypot(middle[:, 0], middle[:, 1])[:, None])
    low, high = within
    margin = 0.06 * (high - low)
    in_range = (place[:, 1] > low + margin) & (place[:, 1] < high - margin)
    eligible = (towards > 0.45) & (place[:, 0] > 0) & in_range
    spots = []
    for number, height in enumerate(preferred):
        own = family == number
        others = place[~own & (towards > 0.3)]
        own = place[own & eligible if (own & eligible).any() else own]
        own, others = (some[:: 1 + len(some) // MAX_POINTS] for some in (own, others))
        distance = np.linalg.norm(own[:, None] - others, axis=2).min(
            axis=1, initial=0.05 * (high - low)
        )
        spots.append(own[np.argmin(np.abs(own[:, 1] - height) - 3 * distance)])
    return np.array(spots)
