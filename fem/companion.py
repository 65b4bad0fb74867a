"""A second solve beside a run, whose difference tells how far the first may be trusted.

- Mesh error. The same case on a mesh of twice the cell size: the difference of a measure between
  the two is taken for the discretisation error of the finer one, which is on the safe side where it
  falls at least in proportion to the cell size. (Beside a thread, a line that pulls on a solid, it
  falls more slowly; but there the differences are small.)
- Friction. A thread that glides with friction lies between one that glides without and one that is
  bonded: the same case with bonded threads gives the other end of the bracket.

Source: two meshes: common practice, no source. The bracket: of the two, one thread slides without
resistance and the other not at all.
"""

from __future__ import annotations

from typing import Any

from fem.case import Case
from fem.result import Run

MESH_ERROR = "mesh_error"
IF_BONDED = "if_bonded"

NOT_MEASURED = {
    *("model", "step", "demanded", "stable", "limit"),
    *("energy_gap", "newton_iterations"),
}
"""Columns of the step table that are not compared."""


def with_bonded_threads(case: Case) -> Case | None:
    """Return the case with bonded threads in place of those with friction, if it has any."""
    changes: dict[str, Any] = {}
    for number, family in enumerate(case.threads):
        if family.friction is not None:
            changes[f"threads__{number}__hold"] = "bonded"
            changes[f"threads__{number}__friction"] = None
    return case.changed(**changes) if changes else None


def add_mesh_error(run: Run, coarser: Run) -> None:
    """Put the columns ``<measure>.mesh_error`` into the rows that both runs have."""
    for row, other in _pairs(run, coarser):
        row |= {f"{name}.{MESH_ERROR}": abs(row[name] - other[name]) for name in _measures(row)}


def add_bonded(run: Run, bonded: Run) -> None:
    """Put the columns ``<measure>.if_bonded`` into the rows that both runs have."""
    for row, other in _pairs(run, bonded):
        row |= {f"{name}.{IF_BONDED}": other[name] for name in _measures(row)}


def _pairs(run: Run, other: Run) -> Any:
    """Return pairs of rows for the demanded values that both runs reached."""
    demanded = [[row for row in one.rows if row["demanded"]] for one in (run, other)]
    return zip(*demanded, strict=False)


def _measures(row: dict[str, Any]) -> list[str]:
    names = [name for name in row if name not in NOT_MEASURED]
    return [name for name in names if not name.endswith((MESH_ERROR, IF_BONDED))]
