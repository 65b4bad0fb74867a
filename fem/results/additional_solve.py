"""Additional solves of the FE model, which estimate its error by comparison with the run.

- Mesh error. The same case on a mesh of twice the cell size: the difference between the two meshes
  estimates the discretisation error of the finer one. The estimate is on the safe side if the error
  decreases at least in proportion to the cell size. (Near a thread, a line load on a solid, it
  decreases more slowly; but the differences there are small.)
- Friction. Threads that slide with friction lie between threads that slide freely and bonded ones:
  the same case with bonded threads is the other limit. The values of the two limits estimate the
  effect of friction; a value of the tube need not lie between them.

The fast model has neither: it has no mesh, and its uniform threads behave the same whether they
slide or not.

Source: two meshes: common practice, no source. Limits of friction: one thread slides without
resistance, the other does not slide.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from fem.case.case import Case
from fem.quantities.column import IF_BONDED, MESH_ERROR, find
from fem.quantities.quantity import Trait
from fem.results.run import AdditionalName, IncompleteSolve, Run
from fem.results.termination import Termination


@dataclass(frozen=True)
class AdditionalSolve:
    """An additional solve of the FE model, and how it is compared with the run.

    Attributes
    ----------
    column
        Its columns are ``<measure>.<column>``.
    combine
        Value of the column, from the values of the run and of the additional solve.
    """

    column: AdditionalName
    combine: Callable[[float, float], float]

    @property
    def solve(self) -> str:
        """Name in progress reports."""
        return f"fe.{self.column}"


COARSER_MESH = AdditionalSolve(MESH_ERROR, lambda value, other: abs(value - other))
BONDED_THREADS = AdditionalSolve(IF_BONDED, lambda _, other: other)


def additional_solves(case: Case, models: Sequence[str], mesh_error: bool) -> list[AdditionalSolve]:
    """Return the additional solves of a case, in the order in which they are solved."""
    if "fe" not in models:
        return []
    friction = any(family.friction is not None for family in case.threads)
    return [BONDED_THREADS] * friction + [COARSER_MESH] * mesh_error


def with_bonded_threads(case: Case) -> Case:
    """Return the case with bonded threads instead of threads with friction."""
    changes: dict[str, Any] = {}
    for number, family in enumerate(case.threads):
        if family.friction is not None:
            changes[f"threads__{number}__hold"] = "bonded"
            changes[f"threads__{number}__friction"] = None
    return case.changed(**changes)


def add_columns(run: Run, additional: AdditionalSolve, other: Run) -> None:
    """Add the columns of an additional solve to the rows of a run that both reached."""
    rows, others = run.requested, other.requested
    for row, other_row in zip(rows, others, strict=False):
        for name in [*row]:
            measure = find(name)
            if name in other_row and measure and Trait.SOLVER not in measure.quantity.traits:
                value = additional.combine(row[name], other_row[name])
                row[f"{name}.{additional.column}"] = value
    if len(others) < len(rows) or other.termination.interrupted:
        add_incomplete(run, additional, other.termination, max(len(others) - 1, 0))


def add_incomplete(run: Run, additional: AdditionalSolve, end: Termination, steps: int = 0) -> None:
    """Record in a run that an additional solve ended early, after this number of steps."""
    run.incomplete.append(IncompleteSolve(additional.column, steps, end))
