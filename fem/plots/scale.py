"""Colour bands of a measure, the same in all panels of a picture."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from matplotlib import colormaps
from matplotlib.colors import Normalize, from_levels_and_colors
from matplotlib.ticker import MaxNLocator
from numpy.typing import ArrayLike

from fem.core.arrays import Array
from fem.plots.style import ROUND_OFF

DIVERGING = "PuOr_r"
"""Purple below zero, white at zero, orange above.

The hues differ in blue and yellow, which red-green blindness does not affect, and both darken away
from zero. Red and blue could be confused with the colours of the models.
"""

SEQUENTIAL = "YlGnBu"
"""From pale to dark, so that the order is visible in greyscale."""

MAX_BANDS = 12
"""Approximate greatest number of bands."""

ZERO_BAND = 1e-3
"""Half width of the band around zero, relative to the others."""

CORE = 2.5, 97.5
"""Percentiles of the range of values that the colours must resolve."""

OUTLIERS = 2.0
"""If all values span more than this multiple of that range, the colours do not cover them all."""


@dataclass(frozen=True)
class Scale:
    """Colours of values.

    Attributes
    ----------
    label
        The measure and its unit.
    bounds
        Edges of the bands, shape (bands + 1,).
    colours
        Their colours, with those for values below and above all bands, shape (bands + 2, 4).
    ticks
        Values labelled at the colour bar, shape (ticks,).
    limit
        Limit of what is shown, marked by a separate line; NaN for none.
    span
        Least and greatest value.
    """

    label: str
    bounds: Array
    colours: Array
    ticks: Array
    limit: float = np.nan
    span: tuple[float, float] = (np.inf, -np.inf)

    @property
    def colouring(self) -> dict[str, Any]:
        """The colours as arguments of matplotlib: ``cmap`` and ``norm``."""
        bounds, colours = self.bounds.tolist(), self.colours.tolist()
        cmap, norm = from_levels_and_colors(bounds, colours, extend="both")
        return {"cmap": cmap, "norm": norm}

    @property
    def extend(self) -> Literal["neither", "min", "max", "both"]:
        """On which sides values lie outside the bands."""
        margin = ROUND_OFF * (self.bounds[-1] - self.bounds[0])
        below = self.span[0] < self.bounds[0] - margin
        above = self.span[1] > self.bounds[-1] + margin
        if below and above:
            return "both"
        return "min" if below else "max" if above else "neither"


def span_of(values: ArrayLike) -> tuple[float, float]:
    """Return the least and the greatest finite value; zeros if there is none."""
    known = np.asarray(values, dtype=float)
    known = known[np.isfinite(known)]
    return (float(known.min()), float(known.max())) if len(known) else (0.0, 0.0)


def range_of(values: ArrayLike, margin: float = 0.025) -> tuple[float, float]:
    """Return the span of all finite `values`, with a relative margin on either side."""
    low, high = span_of(values)
    if high - low < ROUND_OFF:
        low, high = low - 1, high + 1
    return low - margin * (high - low), high + margin * (high - low)


def scale_of(label: str, values: Iterable[float], *, signed: bool, limit: float = np.nan) -> Scale:
    """Return a scale over the finite `values`, without a few outliers that would hide the rest.

    The edges are multiples of a round number. If the sign matters, a narrow white band at zero
    separates two hues, which darken equally with the distance from zero.
    """
    known = np.fromiter(values, float)
    known = np.where(np.abs(known) < ROUND_OFF, 0.0, known)
    edges = _edges(_range(known[np.isfinite(known)], limit), signed)
    ticks = edges if len(edges) <= MAX_BANDS else edges[int(np.argmin(np.abs(edges))) % 2 :: 2]
    bounds = edges
    if edges[0] < limit < edges[-1]:
        bounds = np.union1d(edges, limit)
    if signed:
        narrow = ZERO_BAND * (edges[1] - edges[0])
        bounds = np.sort(np.append(edges[~np.isclose(edges, 0)], [-narrow, narrow]))
    middles = (bounds[:-1] + bounds[1:]) / 2
    farthest = float(np.abs(bounds).max())
    places = Normalize(*((-farthest, farthest) if signed else bounds[[0, -1]]))(middles)
    shades = colormaps[DIVERGING if signed else SEQUENTIAL]
    colours = shades(np.concatenate([[0.0], np.asarray(places), [1.0]]))
    return Scale(label, bounds, np.asarray(colours), ticks, limit, span_of(known))


def _range(known: Array, limit: float) -> tuple[float, float]:
    """Return the range that the colours must resolve, with the limit if values reach it."""
    span = span_of(known)
    if not len(known):
        return span
    low, high = (float(edge) for edge in np.percentile(known, CORE))
    outliers = span[1] - span[0] > OUTLIERS * (high - low)
    if not outliers or high - low < ROUND_OFF:
        return span
    return low, max(high, 1.01 * limit) if span[1] >= limit else high


def _edges(span: tuple[float, float], signed: bool) -> Array:
    """Return round edges of bands that cover a range, with zero if the sign matters."""
    low, high = span
    if signed:
        low, high = min(low, 0.0), max(high, 0.0)
    if high - low < ROUND_OFF:
        low, high = (low - 1, high + 1) if signed else (low, low + 1)
    edges = np.asarray(MaxNLocator(MAX_BANDS, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high))
    reached = (edges[1:] > low) & (edges[:-1] < high)
    return np.append(edges[:-1][reached], edges[1:][reached][-1])


def shade(level: float, levels: Sequence[float]) -> Array:
    """Return the colour of a level among `levels`, shape (4,): higher levels are darker.

    Perceptually uniform, without the palest colours, which are hard to see on white.
    """
    last = max(abs(other) for other in levels) or 1.0
    return np.array(colormaps["viridis_r"](0.1 + 0.9 * abs(level) / last))


def pale(colour: Array) -> Array:
    """Return a lighter colour, on which lines of the original stand out, shape (4,)."""
    return np.append(1 - 0.45 * (1 - colour[:3]), 1.0)


def scale_of_levels(label: str, levels: Sequence[float]) -> Scale:
    """Return a scale with a band for each of `levels`, in its shade."""
    order = np.sort(np.array(levels))
    between = (order[:-1] + order[1:]) / 2
    first, last = (between[0], between[-1]) if len(between) else (order[0] - 1, order[0] + 1)
    bounds = np.concatenate([[2 * order[0] - first], between, [2 * order[-1] - last]])
    colours = np.array([shade(level, levels) for level in [order[0], *order, order[-1]]])
    return Scale(label, bounds, colours, order)
