"""A model followed along the path of a case: what is measured on the way, and why it ends."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Protocol

from fem.case.case import Case
from fem.continuation.load_steps import air_let_in, loading_of, stages_of, steps_of
from fem.continuation.loading import AXIAL, PRESSURE, TWIST
from fem.continuation.newton import Model
from fem.continuation.path import TEARS, follow
from fem.continuation.state import (
    LimitPointError,
    NoEquilibriumError,
    PathEndError,
    RubberLimitError,
    State,
    WindingError,
)
from fem.core.arrays import Array
from fem.quantities.measures import Figures, Reactions, Step
from fem.quantities.row import step_row
from fem.quantities.shape import Shape
from fem.results.equilibrium_checks import energy_gap
from fem.results.run import Report, limit_name


class Body(Model, Protocol):
    """A model that can be measured as well as solved."""

    name: str
    mesh: dict[str, Any]

    def reactions(self, x: Array, loads: Array) -> Reactions:
        """Return what wall and threads carry at the base."""

    def figures(self, x: Array) -> Figures:
        """Return the values that the quantities are computed from."""

    def shape(self, x: Array, pressure: float) -> Shape | None:
        """Return the shape for pictures, where the model has one."""


class Track:
    """A model followed along the path of a case, measured as it goes.

    Attributes
    ----------
    states, reactions, rows, shapes
        What was asked for so far, with limit points and what follows them.
    limit
        Where the pressure has its extreme, in one clause; empty if it was not seen.
    lost
        Whether the path ends where nothing was found, though the tube has no limit there.
    """

    def __init__(self, case: Case, model: Body, report: Report | None) -> None:
        self.case, self.model, self._report = case, model, report
        self.states: list[State] = []
        self.reactions: list[Reactions] = []
        self.rows: list[dict[str, Any]] = []
        self.shapes: list[Shape] = []
        self.limit, self.lost = "", False

    def follow(self) -> tuple[str, bool]:
        """Walk the whole path; return why it ends early, in one sentence, and if by the user."""
        try:
            for state in follow(self.model, loading_of(self.case), stages_of(self.case)):
                self._keep(state)
        except LimitPointError as end:
            return self.limit if self.states else self._stuck(end), False
        except PathEndError as end:
            return self._stuck(end), False
        except KeyboardInterrupt:
            if not self.states:
                raise
            return f"interrupted after {self._place()}", True
        return "", False

    def _keep(self, state: State) -> None:
        """Measure a state and report it."""
        reactions = self.model.reactions(state.x, state.loads)
        tube = self.model.figures(state.x)
        shape = self.model.shape(state.x, state.pressure)
        self.states.append(state)  # all at once: the user may break off in between
        self.reactions.append(reactions)
        self.rows.append(self._row(state, tube))
        if shape is not None:
            self.shapes.append(shape)
        if state.limit and not self.limit:
            self.limit = limit_clause(self.rows[-1])
        if self._report:
            done = sum(state.asked for state in self.states)
            self._report(self.model.name, done, steps_of(self.case))

    def _row(self, state: State, tube: Figures) -> dict[str, Any]:
        gas = self.case.gas
        return step_row(
            Step(
                self.model.name,
                step=len(self.rows),
                pressure=state.pressure,
                demanded=state.asked or len(self.states) == 1,
                volume=state.coordinates[PRESSURE],
                air=air_let_in(gas, self.states[0], state) if gas else None,
                tube=tube,
                force=state.loads[AXIAL],
                torque=state.loads[TWIST],
                energy_gap=energy_gap(self.states[0], state),
                iterations=state.iterations,
                stable=state.stable,
                limit=state.limit,
            )
        )

    def _stuck(self, end: PathEndError) -> str:
        """Keep the last good state; return why there is no further one, in one sentence."""
        last, torn = end.state, isinstance(end, RubberLimitError)
        if isinstance(end, WindingError):
            self._keep_undemanded(last)
            self.lost = not end.buckles
            return _too_short(end)
        if not self.states:  # this is only where the way to the beginning ended
            self._keep_undemanded(replace(last, limit=False, work=0.0, traffic=0.0))
            reason = f"the loads on the free end have no equilibrium beyond {self._place()}"
            if torn:
                return f"{reason}: {TORN}"
            return f"{reason}: there the tube buckles or snaps" if _buckles(end) else reason
        if last.traffic > self.states[-1].traffic:
            self._keep(last)
        else:
            self.rows[-1]["newton_iterations"] += last.iterations
        if torn:
            return rubber_limit(self.rows[-1])
        asked = sum(state.asked for state in self.states) + 1
        way = f"{self._place()} on the way to step {asked} of {steps_of(self.case)}"
        if _buckles(end):
            return f"stability is lost at {way}: the tube buckles, wrinkles or snaps"
        self.lost = True
        reason = f"no equilibrium was found beyond {way}"
        if len(self.states) == 1:
            reason += "; try smaller loads or more steps"
        return reason

    def _keep_undemanded(self, first: State) -> None:
        """Keep the state where the way to the demanded beginning ended."""
        self._keep(first)
        self.rows[-1]["demanded"] = False

    def _place(self) -> str:
        """Return where the path stands."""
        return place(self.rows[-1])


TORN = f"the wall would be stretched more than {TEARS:g} times"


def place(row: dict[str, Any]) -> str:
    """Return where a path stands in a row of its table."""
    shift, twist = (round(row[name], 3) + 0.0 for name in ("displacement_mm", "twist_deg"))
    return f"{row['pressure_kPa']:.4g} kPa, {shift:.3f} mm, {twist:.1f} deg"


def limit_clause(row: dict[str, Any]) -> str:
    """Return what the extreme of the pressure in a row is called and where it is."""
    return (
        f"{limit_name(row)} at {row['pressure_kPa']:.4g} kPa, "
        f"twist {row['twist_deg']:.1f} deg, bore stretch {row['bore_stretch']:.3f}"
    )


def rubber_limit(row: dict[str, Any]) -> str:
    """Return why a path ends whose last row is this and beyond which the wall would tear."""
    return f"rubber limit at {place(row)}: beyond, {TORN}"


def _buckles(end: PathEndError) -> bool:
    """Return whether the tube loses its stability at the end of its path."""
    if isinstance(end, NoEquilibriumError):
        return end.buckles
    return isinstance(end, LimitPointError)


def _too_short(end: WindingError) -> str:
    beyond = "the tube buckles" if end.buckles else "no equilibrium was found"
    return (
        "the threads are too short for this tube: "
        f"{100 * end.share:.3g} % of what they lack can be wound in; beyond, {beyond}"
    )
