"""The run of one model: its step table, its shapes, and why its path ended."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from fem.continuation.termination import TerminationKind
from fem.quantities.column import IF_BONDED, MESH_ERROR, measures_of
from fem.quantities.quantity import Trait
from fem.quantities.shape import Shape
from fem.results.termination import Termination

type AdditionalName = Literal["mesh_error", "if_bonded"]
"""Name of an additional solve of the FE model; its columns are ``<measure>.<name>``."""

ADDITIONAL: tuple[AdditionalName, ...] = (MESH_ERROR, IF_BONDED)

HISTORY = [measure.column for measure in measures_of(traits=Trait.HISTORY)]
"""Columns of the step table that describe the work of the solver."""

Report = Callable[[str, int, int], None]
"""Called with the name of the solve, the number of steps done and the total number of steps.

The name is that of a model or, as ``"fe.mesh_error"``, that of an additional solve.
"""


@dataclass(frozen=True)
class IncompleteSolve:
    """An additional solve that reached fewer requested steps than its run.

    Attributes
    ----------
    solve
        Its name; its columns are ``<measure>.<solve>``.
    steps
        Number of requested steps that it reached.
    termination
        Why it ended.
    """

    solve: AdditionalName
    steps: int
    termination: Termination


@dataclass(frozen=True)
class Run:
    """The solution of a case by one model.

    Attributes
    ----------
    model
        ``"fe"`` or ``"fast"``.
    rows
        The step table: a dictionary by column name for each step.
    termination
        Why the path ended.
    seconds
        Wall time.
    mesh
        Counts of the mesh; empty for the fast model.
    balance
        Work and stored energy (N mm), and the relative gaps of the equilibrium checks.
    shapes
        Shape at each step; empty for the fast model.
    incomplete
        The additional solves that reached fewer requested steps than the run.
    """

    model: str
    rows: list[dict[str, Any]] = field(repr=False)
    termination: Termination
    seconds: float
    balance: dict[str, float]
    mesh: dict[str, Any] = field(default_factory=dict)
    shapes: list[Shape] = field(default_factory=list, repr=False)
    incomplete: list[IncompleteSolve] = field(default_factory=list)

    @property
    def reached(self) -> bool:
        """Whether the last requested value was reached."""
        return self.termination.reached

    @property
    def interrupted(self) -> bool:
        """Whether the user interrupted the solve or one of its additional solves."""
        ends = [self.termination, *(other.termination for other in self.incomplete)]
        return any(end.interrupted for end in ends)

    @property
    def limit_row(self) -> dict[str, Any] | None:
        """The first row at which the pressure has an extreme; None if there is none."""
        return next((row for row in self.rows if row["limit"]), None)

    @property
    def additional(self) -> list[str]:
        """Names of the additional solves whose columns the rows have."""
        columns = {name.rpartition(".")[2] for row in self.rows for name in row}
        return [solve for solve in ADDITIONAL if solve in columns]

    @property
    def requested(self) -> list[dict[str, Any]]:
        """The rows of the requested values, including rest."""
        return [row for row in self.rows if row["requested"]]

    @property
    def path(self) -> list[dict[str, Any]]:
        """All rows except those beyond the limit point that ends the path."""
        return [row for row in self.rows if not self.beyond(row)]

    def beyond(self, row: Mapping[str, Any]) -> bool:
        """Return whether a row lies beyond the limit point that ends the path."""
        limit = self.limit_row
        return self.ends_at_limit and limit is not None and bool(row["step"] > limit["step"])

    @property
    def ends_at_limit(self) -> bool:
        """Whether the path ends because the load cannot increase any further."""
        return self.termination.kind is TerminationKind.LIMIT_POINT
