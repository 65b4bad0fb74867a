"""What one model made of a case: its step table, its shapes, how it went."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from fem.continuation.termination import TerminationKind
from fem.quantities.column import IF_BONDED, MESH_ERROR, measures_of
from fem.quantities.quantity import Trait
from fem.quantities.shape import Shape
from fem.results.termination import Termination

type Additional = Literal["mesh_error", "if_bonded"]
"""An additional solve of the FE model; its columns are ``<measure>.<solve>``."""

ADDITIONAL: tuple[Additional, ...] = (MESH_ERROR, IF_BONDED)

HISTORY = [measure.column for measure in measures_of(traits=Trait.HISTORY)]
"""Columns of the step table that tell how the solver went."""

Report = Callable[[str, int, int], None]
"""Is told what is solved, the steps done and the steps in all.

What is solved is a model by its name or, as ``"fe.mesh_error"``, the FE model for the second time.
"""


@dataclass(frozen=True)
class IncompleteSolve:
    """An additional solve that has fewer requested rows than its run.

    Attributes
    ----------
    solve
        Which one: its columns are ``<measure>.<solve>``.
    steps
        Requested steps that it reached.
    termination
        Why it ended.
    """

    solve: Additional
    steps: int
    termination: Termination


@dataclass(frozen=True)
class Run:
    """What one model made of a case.

    Attributes
    ----------
    model
        ``"fe"`` or ``"fast"``.
    rows
        The step table, a dictionary by column name to each step.
    termination
        Why its path ended.
    seconds
        Wall time.
    mesh
        Counts of the mesh; empty for the fast model.
    balance
        Figures that ought to be nil, each without dimension.
    shapes
        Shape at each step; none for the fast model.
    incomplete
        The additional solves that have fewer requested rows than the run.
    """

    model: str
    rows: list[dict[str, Any]]
    termination: Termination
    seconds: float
    balance: dict[str, float]
    mesh: dict[str, Any] = field(default_factory=dict)
    shapes: list[Shape] = field(default_factory=list)
    incomplete: list[IncompleteSolve] = field(default_factory=list)

    @property
    def reached(self) -> bool:
        """Whether the last requested value was reached."""
        return self.termination.reached

    @property
    def interrupted(self) -> bool:
        """Whether the user interrupted its solve or one of its additional solves."""
        ends = [self.termination, *(other.termination for other in self.incomplete)]
        return any(end.interrupted for end in ends)

    @property
    def limit_row(self) -> dict[str, Any] | None:
        """The first row where the pressure has an extreme; None if the path has none."""
        return next((row for row in self.rows if row["limit"]), None)

    @property
    def additional(self) -> list[str]:
        """The additional solves that its rows have columns of."""
        columns = {name.rpartition(".")[2] for row in self.rows for name in row}
        return [solve for solve in ADDITIONAL if solve in columns]

    @property
    def requested(self) -> list[dict[str, Any]]:
        """The rows of the values that were requested, rest included."""
        return [row for row in self.rows if row["requested"]]

    @property
    def path(self) -> list[dict[str, Any]]:
        """All rows but those beyond the limit point that ends the path."""
        return [row for row in self.rows if not self.beyond(row)]

    def beyond(self, row: Mapping[str, Any]) -> bool:
        """Return whether a row lies beyond the limit point that ends the path."""
        limit = self.limit_row
        return self.ends_at_limit and limit is not None and bool(row["step"] > limit["step"])

    @property
    def ends_at_limit(self) -> bool:
        """Whether the path ends because its load cannot grow any further."""
        return self.termination.kind is TerminationKind.LIMIT_POINT
