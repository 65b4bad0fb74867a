"""Why an equilibrium path ends: kinds, whose codes are written to files."""

from __future__ import annotations

from enum import StrEnum

from fem.continuation.state import State


class TerminationKind(StrEnum):
    """Why a path, or the attempt to follow it, ended."""

    REACHED = "reached"
    """The last requested value was reached."""
    LIMIT_POINT = "limit_point"
    """The driven load has an extreme: there is no equilibrium beyond it."""
    STABILITY_LOST = "stability_lost"
    """The tube is unstable at the last state or just beyond it."""
    STRETCH_LIMIT = "stretch_limit"
    """Beyond the last state the wall stretch would exceed the limit."""
    NOT_CONVERGED = "not_converged"
    """No further equilibrium was found, though no limit of the tube was detected."""
    THREADS_TOO_SHORT = "threads_too_short"
    """Threads too short at rest could be prestressed only in part."""
    END_LOADS = "end_loads"
    """The loads on the free end have no equilibrium; no requested step was started."""
    INTERRUPTED = "interrupted"
    """The user interrupted the solve."""
    NO_REST = "no_rest"
    """There is no solution at rest."""
    ERROR = "error"
    """The program or its process failed."""


class PathEndError(Exception):
    """The path ends before the last requested value.

    Attributes
    ----------
    kind
        Why it ends.
    state
        The last state found; at a limit point, that state.
    buckles
        Whether the tube loses stability there or just beyond.
    prestress_fraction
        Where threads are too short, the fraction of the prestress that was applied.
    """

    def __init__(
        self,
        kind: TerminationKind,
        state: State,
        *,
        buckles: bool = False,
        prestress_fraction: float | None = None,
    ) -> None:
        super().__init__(f"the path ends at a pressure of {state.pressure} MPa: {kind}")
        self.kind, self.state = kind, state
        self.buckles, self.prestress_fraction = buckles, prestress_fraction


def no_equilibrium(state: State, buckles: bool) -> PathEndError:
    """Return the error that no state was found beyond `state`; its kind depends on `buckles`."""
    kind = TerminationKind.STABILITY_LOST if buckles else TerminationKind.NOT_CONVERGED
    return PathEndError(kind, state, buckles=buckles)
