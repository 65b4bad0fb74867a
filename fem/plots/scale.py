"""Bands of colour for a measure: the same in all panels of a picture."""

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
"""Purple for less than nothing, orange for more, white for nothing.

Its hues differ in blue against yellow, which red-green blindness spares, and both darken from the
middle. Those of a map from red to blue would be taken for the colours of the models.
"""

RISING = "YlGnBu"
"""From pale to dark, which tells more from less without any colour."""

BANDS = 12
"""Bands at most, about."""

NOTHING = 1e-3
"""Half width of the band round zero, as a share of the others."""

CORE = 2.5, 97.5
"""Percentiles between which values lie that the colours must tell apart."""

FAR = 2.0
"""If all values span so many times the range of those, the colours do not."""


@dataclass(frozen=True)
class Scale:
    """What a colour means.

    Attributes
    ----------
    label
        The measure and its unit.
    bounds
        Edges of the bands, shape (bands + 1,).
    colours
        Their colours, and those of what lies below and above all, shape (bands + 2, 4).
    ticks
        Which values the colour bar names, shape (ticks,).
    limit
        Where something gives, marked by a line of its own; NaN for nowhere.
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
        """On which sides values lie beyond the bands."""
        off = ROUND_OFF * (self.bounds[-1] - self.bounds[0])
        below, above = self.span[0] < self.bounds[0] - off, self.span[1] > self.bounds[-1] + off
        if below and above:
            return "both"
        return "min" if below else "max" if above else "neither"


def span_of(values: ArrayLike) -> tuple[float, float]:
    """Return the least and the greatest finite value; zeros if there is none."""
    known = np.asarray(values, dtype=float)
    known = known[np.isfinite(known)]
    return (float(known.min()), float(known.max())) if len(known) else (0.0, 0.0)


def range_of(values: ArrayLike, margin: float = 0.025) -> tuple[float, float]:
    """Return the span of all finite `values` with a margin, as a share of it, on either side."""
    low, high = span_of(values)
    if high - low < ROUND_OFF:
        low, high = low - 1, high + 1
    return low - margin * (high - low), high + margin * (high - low)


def scale_of(label: str, values: Iterable[float], *, signed: bool, limit: float = np.nan) -> Scale:
    """Return a scale that spans the finite `values`, or nearly all if a few would eclipse the rest.

    The edges are multiples of a round number. If the sign matters, two hues meet at a narrow white
    band round zero, the darker the farther from it on either side alike.
    """
    known = np.fromiter(values, float)
    known = np.where(np.abs(known) < ROUND_OFF, 0.0, known)
    edges = _edges(_range(known[np.isfinite(known)], limit), signed)
    ticks = edges if len(edges) <= BANDS else edges[int(np.argmin(np.abs(edges))) % 2 :: 2]
    bounds = edges
    if edges[0] < limit < edges[-1]:
        bounds = np.union1d(edges, limit)
    if signed:
        narrow = NOTHING * (edges[1] - edges[0])
        bounds = np.sort(np.append(edges[~np.isclose(edges, 0)], [-narrow, narrow]))
    middles = (bounds[:-1] + bounds[1:]) / 2
    farthest = float(np.abs(bounds).max())
    places = Normalize(*((-farthest, farthest) if signed else bounds[[0, -1]]))(middles)
    shades = colormaps[DIVERGING if signed else RISING]
    colours = shades(np.concatenate([[0.0], np.asarray(places), [1.0]]))
    return Scale(label, bounds, np.asarray(colours), ticks, limit, span_of(known))


def _range(known: Array, limit: float) -> tuple[float, float]:
    """Return the range that the colours are to tell apart, with the limit if values reach it."""
    span = span_of(known)
    if not len(known):
        return span
    low, high = (float(edge) for edge in np.percentile(known, CORE))
    wide = span[1] - span[0] > FAR * (high - low)
    if not wide or high - low < ROUND_OFF:
        return span
    return low, max(high, 1.01 * limit) if span[1] >= limit else high


def _edges(span: tuple[float, float], signed: bool) -> Array:
    """Return round edges of bands that cover a range, and zero if the sign matters."""
    low, high = span
    if signed:
        low, high = min(low, 0.0), max(high, 0.0)
    if high - low < ROUND_OFF:
        low, high = (low - 1, high + 1) if signed else (low, low + 1)
    edges = np.asarray(MaxNLocator(BANDS, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high))
    reached = (edges[1:] > low) & (edges[:-1] < high)
    return np.append(edges[:-1][reached], edges[1:][reached][-1])


def shade(level: float, levels: Sequence[float]) -> Array:
    """Return the colour of a level among `levels`, the darker the further, shape (4,).

    Perceptually even, without the palest, which would not be seen on white.
    """
    last = max(abs(other) for other in levels) or 1.0
    return np.array(colormaps["viridis_r"](0.1 + 0.9 * abs(level) / last))


def pale(colour: Array) -> Array:
    """Return a colour so light that lines of it stand out, shape (4,)."""
    return np.append(1 - 0.45 * (1 - colour[:3]), 1.0)


def scale_of_levels(label: str, levels: Sequence[float]) -> Scale:
    """Return a scale with a band to each of `levels`, in its shade."""
    order = np.sort(np.array(levels))
    between = (order[:-1] + order[1:]) / 2
    first, last = (between[0], between[-1]) if len(between) else (order[0] - 1, order[0] + 1)
    bounds = np.concatenate([[2 * order[0] - first], between, [2 * order[-1] - last]])
    colours = np.array([shade(level, levels) for level in [order[0], *order, order[-1]]])
    return Scale(label, bounds, colours, order)
