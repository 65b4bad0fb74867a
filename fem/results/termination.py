"""Why a solve ended, with its numbers; displays turn this into sentences (`fem.wording`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Self

from fem.continuation.stepper import MAX_STRETCH
from fem.continuation.termination import TerminationKind
from fem.quantities import table

STATE_COLUMNS = tuple(
    quantity.column
    for quantity in (table.pressure, table.displacement, table.twist, table.bore_stretch)
)
"""Columns of the step table that describe the state at which a path ended."""

BALLOON = 1.05
"""Least bore stretch at half length of a balloon (a choice of our own).

The bare tube of `validation/test_balloon.py` balloons at 1.75.
"""

FAILURES = (TerminationKind.NOT_CONVERGED, TerminationKind.NO_REST, TerminationKind.ERROR)
BUCKLING = (TerminationKind.LIMIT_POINT, TerminationKind.STABILITY_LOST)
WITHOUT_STATE = (
    *(TerminationKind.REACHED, TerminationKind.INTERRUPTED),
    *(TerminationKind.NO_REST, TerminationKind.ERROR),
)


@dataclass(frozen=True)
class Termination:
    """Why a solve ended, and where.

    Attributes
    ----------
    kind
        Why.
    pressure_kPa, displacement_mm, twist_deg, bore_stretch
        The last state, or the limit point; None if the last requested value was reached, or if
        there is no state.
    step, steps
        The first requested step that was not reached, and the number of requested steps.
    buckles
        Whether the tube loses stability there or just beyond.
    taken_up
        If threads are too short, the share of the missing length that was taken up.
    allowed_stretch
        Greatest stretch of the wall that is allowed, if this ended the path.
    error
        Message of the exception that ended the solve, if there is one.
    """

    kind: TerminationKind
    pressure_kPa: float | None = None  # noqa: N815 - names of columns carry their units
    displacement_mm: float | None = None
    twist_deg: float | None = None
    bore_stretch: float | None = None
    step: int | None = None
    steps: int | None = None
    buckles: bool = False
    taken_up: float | None = None
    allowed_stretch: float | None = None
    error: str = ""

    def __post_init__(self) -> None:
        """Check that the numbers that the message needs are given."""
        needed = () if self.kind in WITHOUT_STATE else STATE_COLUMNS
        if self.kind in (TerminationKind.STABILITY_LOST, TerminationKind.NOT_CONVERGED):
            needed = (*needed, "step", "steps")
        for name in needed:
            if getattr(self, name) is None:
                raise ValueError(f"{self.kind} needs {name}")

    @classmethod
    def at(cls, kind: TerminationKind, row: Mapping[str, Any], **numbers: Any) -> Self:
        """Return a termination at the state of a row of the step table."""
        state: dict[str, Any] = {name: float(row[name]) for name in STATE_COLUMNS}
        if kind is TerminationKind.STRETCH_LIMIT:
            numbers["allowed_stretch"] = MAX_STRETCH
        numbers.setdefault("buckles", kind in BUCKLING)
        return cls(kind, **state, **numbers)

    @classmethod
    def failed(cls, kind: TerminationKind, error: BaseException | str) -> Self:
        """Return the termination of a solve that has no state."""
        return cls(kind, error=str(error))

    @property
    def reached(self) -> bool:
        """Whether the last requested value was reached."""
        return self.kind is TerminationKind.REACHED

    @property
    def interrupted(self) -> bool:
        """Whether the user interrupted the solve."""
        return self.kind is TerminationKind.INTERRUPTED

    @property
    def unresolved(self) -> bool:
        """Whether the path ended although the tube has no limit there."""
        return self.kind in FAILURES or (
            self.kind is TerminationKind.THREADS_TOO_SHORT and not self.buckles
        )

    def data(self) -> dict[str, Any]:
        """Return the termination as JSON data, without values that are not set."""
        given = asdict(self).items()
        return {k: v for k, v in given if v is not None and v is not False and v != ""}


REACHED = Termination(TerminationKind.REACHED)


def restore(data: Mapping[str, Any]) -> Termination:
    """Return the termination from the result of :meth:`Termination.data`.

    Raises
    ------
    ValueError, TypeError
        If `data` is not valid.
    """
    return Termination(**{**data, "kind": TerminationKind(data["kind"])})


def ballooned(bore_stretch: float) -> bool:
    """Return whether a tube with this bore stretch at half length has ballooned."""
    return bore_stretch > BALLOON
