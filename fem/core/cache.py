"""Meshed tubes kept from one case to the next, so that neighbouring cases share their mesh."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

SIZE = 2
"""Number of objects that are kept: a mesh, and the coarser one for its error estimate."""


class MeshCache:
    """What the solves of neighbouring cases share, one after another in one process.

    No result depends on it beyond the tolerance of Newton's method. ``get(make, *arguments)``
    returns ``make(*arguments)``, or the object that it returned before if that is still kept.
    """

    def __init__(self) -> None:
        self.get: Callable[..., Any] = lru_cache(SIZE)(lambda make, *arguments: make(*arguments))
