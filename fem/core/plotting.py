"""Plot methods of results, which :mod:`fem.plots` draws.

A result lies below the plots in the order of imports and does not import them. The module that
draws is loaded by its name when a plot method is called.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.figure import Figure

BACKEND = "fem.plots.methods"
"""Module with a function for each plot method."""


def draw(plot: str, *data: Any, **options: Any) -> Figure:
    """Return the figure that the function `plot` of :data:`BACKEND` draws."""
    figure: Figure = getattr(import_module(BACKEND), plot)(*data, **options)
    return figure
