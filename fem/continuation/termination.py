"""Why an equilibrium path ends: kinds, each with a stable code that files keep."""

from __future__ import annotations

from enum import StrEnum

from fem.continuation.state import State


class TerminationKind(StrEnum):
    """Why a path, or the attempt to follow it, ended."""

    REACHED = "reached"
    """The last requested value was reached."""
    LIMIT_POINT = "limit_point"
    """The driven load has an extreme: more of it has no equilibrium."""
    STABILITY_LOST = "stability_lost"
    """The tube is unstable at the last state or just beyond it."""
    STRETCH_LIMIT = "stretch_limit"
    """Beyond, the wall would be stretched more than the path allows."""
    NOT_CONVERGED = "not_converged"
    """No equilibrium was found further on, though the tube has no limit there."""
    THREADS_TOO_SHORT = "threads_too_short"
    """Threads that are too short at rest can be taken up only in part."""
    END_LOADS = "end_loads"
    """The loads on the free end have no equilibrium; no requested value was begun."""
    INTERRUPTED = "interrupted"
    """The user interrupted the solve."""
    NO_REST = "no_rest"
    """There is no solution even at rest."""
    ERROR = "error"
    """The program or its process failed."""


class PathEndError(Exception):
    """The path ends before the last requested value.

    Attributes
    ----------
    kind
        Why.
    state
        The last good state; at a limit point, that state.
    buckles
        Whether the tube loses stability there or just beyond.
    taken_up
        Where threads are too short, the share of the missing length that was taken up.
    """

    def __init__(
        self,
        kind: TerminationKind,
        state: State,
        *,
        buckles: bool = False,
        taken_up: float | None = None,
    ) -> None:
        super().__init__(f"the path ends at a pressure of {state.pressure} MPa: {kind}")
        self.kind, self.state = kind, state
        self.buckles, self.taken_up = buckles, taken_up


def no_equilibrium(state: State, buckles: bool) -> PathEndError:
    """Return that no state was found beyond `state`: the tube buckles, or nothing is known."""
    kind = TerminationKind.STABILITY_LOST if buckles else TerminationKind.NOT_CONVERGED
    return PathEndError(kind, state, buckles=buckles)
