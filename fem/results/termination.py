"""Why a solve ended, with its numbers; displays turn this into sentences (`fem.wording`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Self

from fem.continuation.stepper import MAX_STRETCH
from fem.continuation.termination import TerminationKind
from fem.quantities import table

PLACE = tuple(
    quantity.column
    for quantity in (table.pressure, table.displacement, table.twist, table.bore_stretch)
)
"""Columns of the step table that say where a path ended."""

BALLOON = 1.05
"""A bore stretched by less than this at half length has not ballooned (a choice of our own).

The bare tube of `validation/test_balloon.py` balloons at 1.75.
"""

FAILURES = (TerminationKind.NOT_CONVERGED, TerminationKind.NO_REST, TerminationKind.ERROR)
BUCKLING = (TerminationKind.LIMIT_POINT, TerminationKind.STABILITY_LOST)
WITHOUT_PLACE = (
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
        The last state, or the limit point; None where the last requested value was reached, and
        where there is no state at all.
    step, steps
        The requested step that the path was on its way to, and the number of all requested steps.
    buckles
        Whether the tube loses stability there or just beyond.
    taken_up
        Where threads are too short, the share of the missing length that was taken up.
    allowed_stretch
        Stretch of the wall beyond which no path goes, where this is what ended it.
    error
        Message of the exception behind it, where there is one.
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
        """Check that the numbers are there without which it cannot be worded."""
        needed = () if self.kind in WITHOUT_PLACE else PLACE
        if self.kind in (TerminationKind.STABILITY_LOST, TerminationKind.NOT_CONVERGED):
            needed = (*needed, "step", "steps")
        for name in needed:
            if getattr(self, name) is None:
                raise ValueError(f"{self.kind} needs {name}")

    @classmethod
    def at(cls, kind: TerminationKind, row: Mapping[str, Any], **numbers: Any) -> Self:
        """Return an end at the state of a row of the step table."""
        place: dict[str, Any] = {name: float(row[name]) for name in PLACE}
        if kind is TerminationKind.STRETCH_LIMIT:
            numbers["allowed_stretch"] = MAX_STRETCH
        numbers.setdefault("buckles", kind in BUCKLING)
        return cls(kind, **place, **numbers)

    @classmethod
    def failed(cls, kind: TerminationKind, error: BaseException | str) -> Self:
        """Return the end of a solve that has no state."""
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
        """Whether nothing further was found though the tube has no limit there."""
        return self.kind in FAILURES or (
            self.kind is TerminationKind.THREADS_TOO_SHORT and not self.buckles
        )

    def data(self) -> dict[str, Any]:
        """Return it as JSON data, without the numbers that this kind does not have."""
        given = asdict(self).items()
        return {k: v for k, v in given if v is not None and v is not False and v != ""}


REACHED = Termination(TerminationKind.REACHED)


def restore(data: Mapping[str, Any]) -> Termination:
    """Return what :meth:`Termination.data` wrote.

    Raises
    ------
    ValueError, TypeError
        If it is something else.
    """
    return Termination(**{**data, "kind": TerminationKind(data["kind"])})


def ballooned(bore_stretch: float) -> bool:
    """Return whether a bore stretched so much at half length has ballooned."""
    return bore_stretch > BALLOON
