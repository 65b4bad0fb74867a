"""What one case of a row hands on to the next, so that neighbours share their common work."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Any

KEPT = 2
"""So many things are kept: a mesh, and the coarser one that its error is told by."""


class Chain:
    """The link between the solves of neighbouring cases, one after another in one process.

    No result depends on it beyond the tolerance of Newton's method.
    """

    def __init__(self) -> None:
        self._kept: dict[Hashable, Any] = {}

    def share[T](self, make: Callable[..., T], *of: Hashable) -> T:
        """Return ``make(*of)``, or what it returned before if that is still kept."""
        key = (make, *of)
        made = self._kept.pop(key) if key in self._kept else make(*of)
        self._kept[key] = made  # the latest
        if len(self._kept) > KEPT:
            del self._kept[next(iter(self._kept))]
        return made
