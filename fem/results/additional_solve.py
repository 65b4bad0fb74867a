"""Additional solves of the FE model, whose difference from the run estimates its error.

- Mesh error. The same case on a mesh of twice the cell size: the difference of a measure between
  the two is taken for the discretisation error of the finer one, which is on the safe side where it
  falls at least in proportion to the cell size. (Beside a thread, a line that pulls on a solid, it
  falls more slowly; but there the differences are small.)
- Friction. A thread that slides with friction lies between one that slides without and one that is
  bonded: the same case with bonded threads gives the other end of the bracket.

The fast model has neither: it has no mesh, and its threads are uniform, so that held or not is one.

Source: two meshes: common practice, no source. The bracket: of the two, one thread slides without
resistance and the other not at all.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from fem.case.case import Case
from fem.quantities.column import IF_BONDED, MESH_ERROR, find
from fem.quantities.quantity import Trait
from fem.results.run import Additional, IncompleteSolve, Run
from fem.results.termination import Termination


@dataclass(frozen=True)
class AdditionalSolve:
    """An additional solve of the FE model, and how it is compared with the run.

    Attributes
    ----------
    column
        Its columns are ``<measure>.<column>``.
    combine
        From the values of a measure in the run and in the additional solve to that of its column.
    """

    column: Additional
    combine: Callable[[float, float], float]

    @property
    def solve(self) -> str:
        """Its name in reports of progress."""
        return f"fe.{self.column}"


COARSER_MESH = AdditionalSolve(MESH_ERROR, lambda value, other: abs(value - other))
BONDED_THREADS = AdditionalSolve(IF_BONDED, lambda _, other: other)


def additional_solves(case: Case, models: Sequence[str], mesh_error: bool) -> list[AdditionalSolve]:
    """Return what the FE model is solved for again, in this order."""
    if "fe" not in models:
        return []
    friction = any(family.friction is not None for family in case.threads)
    return [BONDED_THREADS] * friction + [COARSER_MESH] * mesh_error


def with_bonded_threads(case: Case) -> Case:
    """Return the case with bonded threads in place of those with friction."""
    changes: dict[str, Any] = {}
    for number, family in enumerate(case.threads):
        if family.friction is not None:
            changes[f"threads__{number}__hold"] = "bonded"
            changes[f"threads__{number}__friction"] = None
    return case.changed(**changes)


def compare(run: Run, additional: AdditionalSolve, other: Run) -> None:
    """Put the columns of an additional solve into the rows that both reached; note if it lacks."""
    rows, others = run.requested, other.requested
    for row, second in zip(rows, others, strict=False):
        for name in [*row]:
            measure = find(name)
            if name in second and measure and Trait.SOLVER not in measure.quantity.traits:
                value = additional.combine(row[name], second[name])
                row[f"{name}.{additional.column}"] = value
    if len(others) < len(rows) or other.termination.interrupted:
        note(run, additional, other.termination, max(len(others) - 1, 0))


def note(run: Run, additional: AdditionalSolve, end: Termination, steps: int = 0) -> None:
    """Note in a run that an additional solve ended after so many requested steps."""
    run.incomplete.append(IncompleteSolve(additional.column, steps, end))
