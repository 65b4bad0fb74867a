"""The solids of the states that a picture shows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from fem.scene.appearance import VEIL, VEIL_OPACITY
from fem.scene.result_view import at_rest
from fem.scene.solids import Solid, solids

if TYPE_CHECKING:
    from fem.scene.result_view import Exhibit

VEILED = ("wall", "threads", "plates", "marks")
"""What is seen where the wall is translucent; the bore would hide the threads behind."""


def solids_of(
    exhibits: Sequence[Exhibit],
    steps: Sequence[int],
    *,
    cut: bool,
    start: bool,
    veiled: bool = False,
) -> list[list[Solid]]:
    """Return the solids of a step of each exhibit.

    Parameters
    ----------
    exhibits, steps
        The states.
    cut
        Whether the tubes are cut open.
    start
        Whether the shape at rest is shown beside that of a tube which is not at rest.
    veiled
        Whether the wall is grey and translucent, so that the threads behind it show.
    """
    found = [
        solids(one, step, cut=cut, start=start and not at_rest(one.rows[step]))
        for one, step in zip(exhibits, steps, strict=True)
    ]
    return [veil(some) for some in found] if veiled else found


def veil(shown: Iterable[Solid]) -> list[Solid]:
    """Return solids with the wall grey and translucent."""
    return [
        _veiled(solid) if solid.role == "wall" else solid for solid in shown if solid.role in VEILED
    ]


def _veiled(wall: Solid) -> Solid:
    return replace(wall, role="veil", values=None, quantity="", colour=VEIL, opacity=VEIL_OPACITY)
