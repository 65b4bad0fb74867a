"""Colour scales of wall stretch and thread tension, and their ranges.

Both run from light to dark in equal steps of lightness, so that values can be compared with
red-green blindness and in greyscale. They share no hue: the wall goes from cream to brown, the
threads from green over blue to violet, as in matplotlib's viridis, without its yellow, which is
hard to see on white paper.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Protocol

import numpy as np

from fem.case.case import Case
from fem.core.arrays import Array
from fem.quantities import table
from fem.quantities.column import with_unit
from fem.quantities.measures import carries
from fem.quantities.shape import Shape

type Bytes = np.ndarray[Any, np.dtype[np.uint8]]

NO_TENSION_RGB = (92, 92, 92)
"""Colour of a slack thread: grey; it is also thin and dashed."""

NO_TENSION_INDEX = 255
"""Colour index of a thread without tension."""

WALL = ("#fbf5ec", "#ecc597", "#cf9150")
"""Colours of the least, the middle and the greatest stretch."""

MIN_RANGE = 0.01
"""A smaller range of stretch is not spread over all colours."""

ON_PLATE = 1e-4
"""Distance from a plate, over the length at rest, below which a node is on it."""


@dataclass(frozen=True)
class Scale:
    """Colours of a quantity.

    Attributes
    ----------
    quantity
        ``"stretch"`` or ``"tension"``.
    title, unit
        Label of the colour bar; the unit may be empty.
    low, high
        Values of the first and the last colour.
    colours
        Red, green, blue, shape (256, 3).
    """

    quantity: str
    title: str
    unit: str
    low: float
    high: float
    colours: Bytes

    @property
    def label(self) -> str:
        """Title and unit, as at a colour bar."""
        return with_unit(self.title, self.unit)

    def index(self, values: Array) -> Bytes:
        """Return the colour indices of values, shape (n,); `NO_TENSION_INDEX` for nan."""
        last = len(self.colours) - 1 - (self.quantity == "tension")
        share = (values - self.low) / (self.high - self.low)
        with np.errstate(invalid="ignore"):
            number = np.rint(last * np.clip(share, 0.0, 1.0))
        return np.where(np.isnan(values), NO_TENSION_INDEX, number).astype(np.uint8)

    def rgb(self, values: Array) -> Bytes:
        """Return the colours of values, shape (n, 3); the grey `NO_TENSION_RGB` for nan."""
        slack = np.isnan(values)[:, None]
        return np.where(slack, NO_TENSION_RGB, self.colours[self.index(values)]).astype(np.uint8)


@dataclass(frozen=True)
class Scales:
    """The scales of views shown together; no tension scale without threads."""

    stretch: Scale
    tension: Scale | None

    def __iter__(self) -> Iterator[Scale]:
        """Iterate over the scales that exist."""
        yield self.stretch
        if self.tension:
            yield self.tension


class HasShapes(Protocol):
    """What a colour scale needs of a :class:`fem.scene.result_view.ResultView`."""

    @property
    def case(self) -> Case:
        """The case."""

    @property
    def shapes(self) -> Sequence[Shape]:
        """Shapes of its states."""


def scales_of(views: Iterable[HasShapes]) -> Scales:
    """Return the scales for views that are shown together.

    They reach to the greatest stretch and tension of any state. Nodes on the plates are left out:
    at the rim of the bore the stretch is singular, and its FE value depends on the mesh. Values
    above the scale take the end colour.
    """
    stretch, tension, threads = 1.0, 0.0, False
    for view in views:
        families = view.case.threads
        threads = threads or bool(families)
        for shape in view.shapes:
            stretch = max(stretch, _greatest_stretch(shape))
            for family, curves in zip(families, shape.threads, strict=True):
                taut = curves.tension[carries(curves.tension, family.stiffness)]
                tension = float(taut.max(initial=tension))
    return Scales(stretch_scale(stretch), tension_scale(tension) if threads else None)


def _greatest_stretch(shape: Shape) -> float:
    """Return the greatest stretch away from the plates."""
    height = shape.nodes[:, 2]
    margin = ON_PLATE * height.max()
    between = (height > margin) & (height < height.max() - margin)
    return float(shape.stretch[between].max())


def stretch_scale(greatest: float) -> Scale:
    """Return the scale of stretches from 1 to the greatest."""
    high = max(greatest, 1.0 + MIN_RANGE)
    return Scale("stretch", table.wall_stretch_max.short, "", 1.0, high, _wall_colours())


def tension_scale(greatest: float) -> Scale:
    """Return the scale of tensions from zero to the greatest (N), or to 1 N if that is zero."""
    title = f"thread {table.tension.short}"
    return Scale("tension", title, table.tension.unit, 0.0, greatest or 1.0, _thread_colours())


@cache
def _wall_colours() -> Bytes:
    from matplotlib.colors import LinearSegmentedColormap

    return _bytes(LinearSegmentedColormap.from_list("stretch", WALL)(np.linspace(0.0, 1.0, 256)))


@cache
def _thread_colours() -> Bytes:
    from matplotlib import colormaps

    return _bytes(colormaps["viridis_r"](np.linspace(0.1, 1.0, 256)))


def _bytes(shades: Array) -> Bytes:
    return np.rint(255 * shades[:, :3]).astype(np.uint8)
