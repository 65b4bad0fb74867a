"""Solution of the path of a case by a model: recorded states, and why the path ends."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Protocol

from fem.case.case import Case
from fem.continuation.load_steps import air_added, loading_of, stages_of, steps_of
from fem.continuation.loading import AXIAL, PRESSURE, TWIST
from fem.continuation.newton import Model
from fem.continuation.path import follow
from fem.continuation.state import State
from fem.continuation.stepper import MAX_STRETCH
from fem.continuation.termination import PathEndError, TerminationKind
from fem.core.arrays import Array
from fem.quantities.column import step_row
from fem.quantities.measures import Reactions, Step, TubeValues
from fem.quantities.shape import Shape
from fem.results.equilibrium_checks import energy_gap
from fem.results.termination import BUCKLING, REACHED, Termination


class RecordableModel(Model, Protocol):
    """A model whose states can be recorded."""

    name: str
    mesh: dict[str, Any]

    def reactions(self, x: Array, loads: Array) -> Reactions:
        """Return force and torque of wall and threads at the base."""

    def tube_values(self, x: Array) -> TubeValues:
        """Return the values that the quantities are computed from."""

    def shape(self, x: Array, pressure: float) -> Shape | None:
        """Return the shape for pictures, if the model has one."""


class PathRecorder:
    """Solves the path of a case and records its states.

    `report` is called with the number of requested steps done and their total number.

    Attributes
    ----------
    states, reactions, rows, shapes
        The recorded states: requested ones, limit points, and the states after these.
    """

    def __init__(
        self, case: Case, model: RecordableModel, report: Callable[[int, int], None] | None
    ) -> None:
        self.case, self.model, self._report = case, model, report
        self.states: list[State] = []
        self.reactions: list[Reactions] = []
        self.rows: list[dict[str, Any]] = []
        self.shapes: list[Shape] = []

    def record(self) -> Termination:
        """Solve the whole path; return why it ends."""
        try:
            for state in follow(self.model, loading_of(self.case), stages_of(self.case)):
                self._add(state)
        except PathEndError as end:
            return self._add_end(end)
        except KeyboardInterrupt:
            if not self.states:
                raise
            return Termination.at(TerminationKind.INTERRUPTED, self.rows[-1])
        return REACHED

    def _add(self, state: State) -> None:
        """Record a state and report the progress."""
        reactions = self.model.reactions(state.x, state.loads)
        tube = self.model.tube_values(state.x)
        shape = self.model.shape(state.x, state.pressure)
        self.states.append(state)  # all together: the user may interrupt in between
        self.reactions.append(reactions)
        self.rows.append(self._row(state, tube))
        if shape is not None:
            self.shapes.append(shape)
        if self._report:
            done = sum(state.requested for state in self.states)
            self._report(done, steps_of(self.case))

    def _row(self, state: State, tube: TubeValues) -> dict[str, Any]:
        gas = self.case.gas
        return step_row(
            Step(
                self.model.name,
                step=len(self.rows),
                pressure=state.pressure,
                requested=state.requested or len(self.states) == 1,
                volume=state.conjugates[PRESSURE],
                air=air_added(gas, self.states[0], state) if gas else None,
                tube=tube,
                force=state.loads[AXIAL],
                torque=state.loads[TWIST],
                energy_gap=energy_gap(self.states[0], state),
                iterations=state.iterations,
                stable=state.stable,
                limit=state.limit,
            )
        )

    def _add_end(self, end: PathEndError) -> Termination:
        """Record the last valid state; return why the path ends."""
        kind, last = end.kind, end.state
        if kind is TerminationKind.THREADS_TOO_SHORT:
            self._add_not_requested(last)
            numbers = {"buckles": end.buckles, "taken_up": end.prestress_fraction}
            return Termination.at(kind, self.rows[-1], **numbers)
        if not self.states:  # the path ended before its first state
            self._add_not_requested(replace(last, limit=False, work=0.0, absolute_work=0.0))
            allowed = MAX_STRETCH if kind is TerminationKind.STRETCH_LIMIT else None
            numbers = {"buckles": kind in BUCKLING, "allowed_stretch": allowed}
            return Termination.at(TerminationKind.END_LOADS, self.rows[-1], **numbers)
        where = next((row for row in self.rows if row["limit"]), None)
        if kind is not TerminationKind.LIMIT_POINT or where is None:
            if last.absolute_work > self.states[-1].absolute_work:
                self._add(last)
            else:
                self.rows[-1]["newton_iterations"] += last.iterations
            where = self.rows[-1]
        step = sum(state.requested for state in self.states) + 1
        return Termination.at(kind, where, step=step, steps=steps_of(self.case))

    def _add_not_requested(self, first: State) -> None:
        """Record the state at which the path to the first requested state ended."""
        self._add(first)
        self.rows[-1]["requested"] = False
