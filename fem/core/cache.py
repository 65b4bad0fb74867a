"""What one case of a row hands on to the next, so that neighbours share their common work."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

KEPT = 2
"""So many things are kept: a mesh, and the coarser one that its error is told by."""


class Chain:
    """The link between the solves of neighbouring cases, one after another in one process.

    No result depends on it beyond the tolerance of Newton's method. ``share(make, *of)`` returns
    ``make(*of)``, or what it returned before if that is still kept.
    """

    def __init__(self) -> None:
        self.share: Callable[..., Any] = lru_cache(KEPT)(lambda make, *of: make(*of))
