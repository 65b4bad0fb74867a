"""A second solve beside a run, whose difference tells how far the first may be trusted.

- Mesh error. The same case on a mesh of twice the cell size: the difference of a measure between
  the two is taken for the discretisation error of the finer one, which is on the safe side where it
  falls at least in proportion to the cell size. (Beside a thread, a line that pulls on a solid, it
  falls more slowly; but there the differences are small.)
- Friction. A thread that glides with friction lies between one that glides without and one that is
  bonded: the same case with bonded threads gives the other end of the bracket.

The fast model has neither: it has no mesh, and its threads are uniform, so that held or not is one.

Source: two meshes: common practice, no source. The bracket: of the two, one thread slides without
resistance and the other not at all.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from fem.case.case import Case
from fem.quantities.column import IF_BONDED, MESH_ERROR, find
from fem.quantities.quantity import Trait
from fem.results.run import Run


@dataclass(frozen=True)
class Companion:
    """A second solve of the FE model: what it is for and how it is compared.

    Attributes
    ----------
    column
        Its columns are ``<measure>.<column>``.
    purpose
        What it tells.
    how
        How the model is solved, as words that follow "the FE model".
    figure
        From the values of a measure in the run and in the second solve to that of its column.
    """

    column: str
    purpose: str
    how: str
    figure: Callable[[float, float], float]

    @property
    def solve(self) -> str:
        """Its name in reports of progress."""
        return f"fe.{self.column}"


COARSER_MESH = Companion(
    MESH_ERROR, "mesh error", "on a coarser mesh", lambda value, other: abs(value - other)
)
BONDED_THREADS = Companion(IF_BONDED, "friction", "with bonded threads", lambda _, other: other)


def companions(case: Case, models: Sequence[str], mesh_error: bool) -> list[Companion]:
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


def compare(run: Run, companion: Companion, other: Run) -> None:
    """Put the columns of a second solve into the rows that both reached; note why it has fewer."""
    rows, others = _demanded(run), _demanded(other)
    for row, second in zip(rows, others, strict=False):
        names = [name for name in row if name in second and _compared(name)]
        row |= {
            f"{name}.{companion.column}": companion.figure(row[name], second[name])
            for name in names
        }
    if len(others) < len(rows) and not other.interrupted:
        run.shortfalls.append(_ended(companion, len(others), other.reason))


def _compared(column: str) -> bool:
    measure = find(column)
    return measure is not None and Trait.SOLVER not in measure.quantity.traits


def without_rest(companion: Companion, failure: ArithmeticError) -> str:
    """Return that a second solve has not even a first row, in one sentence."""
    return _ended(companion, 0, str(failure))


def broken_off(run: Run, companion: Companion) -> Run:
    """Return the run as one whose second solve the user broke off."""
    said = f"{companion.purpose}: interrupted while the FE model {companion.how} was solved"
    return replace(run, interrupted=True, shortfalls=[*run.shortfalls, said])


def _ended(companion: Companion, rows: int, reason: str) -> str:
    """Return where and why a second solve ended that has so many demanded rows, rest included."""
    end = f"ended after step {rows - 1}" if rows > 1 else "ended before step 1"
    if not rows:
        end = "has no solution even at rest"
    return f"{companion.purpose}: the FE model {companion.how} {end}: {reason}"


def _demanded(run: Run) -> list[dict[str, Any]]:
    return [row for row in run.rows if row["demanded"]]
