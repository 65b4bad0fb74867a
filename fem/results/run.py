"""What one model made of a case: its step table, its shapes, how it went."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from fem.quantities.column import measures_of
from fem.quantities.quantity import Trait
from fem.quantities.shape import Shape

HISTORY = [measure.column for measure in measures_of(traits=Trait.HISTORY)]
"""Columns of the step table that tell how the solver went."""

Report = Callable[[str, int, int], None]
"""Is told what is solved, the steps done and the steps in all.

What is solved is a model by its name or, as ``"fe.mesh_error"``, the FE model for the second time.
"""

WIDENED = 1.05
"""A bore stretched by less than this at half length has not ballooned (a choice of our own).

The bare tube of `validation/test_balloon.py` balloons at 1.75.
"""


def limit_name(row: dict[str, Any]) -> str:
    """Return what the extreme of the pressure in a row is called; it need not be a balloon's."""
    return "balloon limit" if row["bore_stretch"] > WIDENED else "pressure limit"


@dataclass(frozen=True)
class Run:
    """What one model made of a case.

    Attributes
    ----------
    model
        ``"fe"`` or ``"fast"``.
    rows
        The step table, a dictionary by column name to each step.
    reached
        Whether the last demanded value was reached.
    reason
        Why not, in one sentence; empty if it was.
    seconds
        Wall time.
    mesh
        Counts of the mesh; empty for the fast model.
    interrupted
        Whether the user broke off its solve or one of its second solves.
    lost
        Whether the run ended where nothing was found, though the tube has no limit there.
    limit
        Where the pressure has its extreme, in one clause; empty if the path shows no such point.
    balance
        Figures that ought to be nil, each without dimension.
    shapes
        Shape at each step; none for the fast model.
    shortfalls
        Why second solves have fewer demanded rows, a sentence each; empty if they have not.
    """

    model: str
    rows: list[dict[str, Any]]
    reached: bool
    reason: str
    seconds: float
    balance: dict[str, float]
    interrupted: bool = False
    lost: bool = False
    limit: str = ""
    mesh: dict[str, Any] = field(default_factory=dict)
    shapes: list[Shape] = field(default_factory=list)
    shortfalls: list[str] = field(default_factory=list)
