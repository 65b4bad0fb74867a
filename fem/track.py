"""A model followed along the path of a case: what is measured on the way, and why it ends."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Protocol

from fem.arrays import Array
from fem.balance import energy_gap
from fem.case import Case
from fem.loading import AXIAL, PRESSURE, TWIST
from fem.measure import Reactions, Snapshot, measures
from fem.newton import Model
from fem.path import TEARS, follow
from fem.result import Report, limit_name
from fem.shape import Shape
from fem.stages import air_let_in, loading_of, stages_of, steps_of
from fem.state import (
    LimitPointError,
    NoEquilibriumError,
    PathEndError,
    RubberLimitError,
    State,
    WindingError,
)


class Body(Model, Protocol):
    """A model that can be measured as well as solved."""

    name: str
    mesh: dict[str, Any]

    def reactions(self, x: Array, loads: Array) -> Reactions:
        """Return what wall and threads carry at the base."""

    def snapshot(self, x: Array) -> Snapshot:
        """Return what the measures are taken from."""

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
    """

    def __init__(self, case: Case, model: Body, report: Report | None) -> None:
        self.case, self.model, self._report = case, model, report
        self.states: list[State] = []
        self.reactions: list[Reactions] = []
        self.rows: list[dict[str, Any]] = []
        self.shapes: list[Shape] = []
        self.limit = ""

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
        snapshot = self.model.snapshot(state.x)
        shape = self.model.shape(state.x, state.pressure)
        self.states.append(state)  # all at once: the user may break off in between
        self.reactions.append(reactions)
        self.rows.append(self._row(state, measures(snapshot, self.case)))
        if shape is not None:
            self.shapes.append(shape)
        if state.limit and not self.limit:
            row = self.rows[-1]
            self.limit = (
                f"{limit_name(row)} at {row['pressure_kPa']:.4g} kPa, "
                f"twist {row['twist_deg']:.1f} deg, bore stretch {row['bore_stretch']:.3f}"
            )
        if self._report:
            done = sum(state.asked for state in self.states)
            self._report(self.model.name, done, steps_of(self.case))

    def _row(self, state: State, measured: dict[str, Any]) -> dict[str, Any]:
        row = {
            "model": self.model.name,
            "step": len(self.rows),
            "pressure_kPa": round(state.pressure * 1e3, 9),  # 3.0, not 2.9999999999999996
            "demanded": state.asked or len(self.states) == 1,
            "volume_mm3": float(state.coordinates[PRESSURE]),
        }
        if self.case.gas:
            row["air_mg"] = air_let_in(self.case.gas, self.states[0], state)
        return {
            **row,
            **measured,
            "end_force_N": float(state.loads[AXIAL]),
            "end_torque_Nmm": float(state.loads[TWIST]),
            "energy_gap": energy_gap(self.states[0], state),
            "newton_iterations": state.iterations,
            "stable": state.stable,
            "limit": state.limit,
        }

    def _stuck(self, end: PathEndError) -> str:
        """Keep the last good state; return why there is no further one, in one sentence."""
        last, torn = end.state, isinstance(end, RubberLimitError)
        tears = f"the wall would be stretched more than {TEARS:g} times"
        if isinstance(end, WindingError):
            self._keep_undemanded(last)
            return _too_short(end)
        if not self.states:  # this is only where the way to the beginning ended
            self._keep_undemanded(replace(last, limit=False, work=0.0, traffic=0.0))
            reason = f"the loads on the free end have no equilibrium beyond {self._place()}"
            if torn:
                return f"{reason}: {tears}"
            return f"{reason}: there the tube buckles or snaps" if _buckles(end) else reason
        if last.traffic > self.states[-1].traffic:
            self._keep(last)
        else:
            self.rows[-1]["newton_iterations"] += last.iterations
        if torn:
            return f"rubber limit at {self._place()}: beyond, {tears}"
        asked = sum(state.asked for state in self.states) + 1
        way = f"{self._place()} on the way to step {asked} of {steps_of(self.case)}"
        if _buckles(end):
            return f"stability is lost at {way}: the tube buckles, wrinkles or snaps"
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
        row = self.rows[-1]
        return (
            f"{row['pressure_kPa']:.4g} kPa, {row['displacement_mm']:.3f} mm, "
            f"{row['twist_deg']:.1f} deg"
        )


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
