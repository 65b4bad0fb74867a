"""From a case to its result: each model along the same path, the same measures, the same checks."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Protocol

from fem.case import Case
from fem.companion import add_bonded, add_mesh_error, with_bonded_threads
from fem.complaint import InputError
from fem.loading import AXIAL, PRESSURE, TWIST
from fem.measure import Reactions, Snapshot, measures
from fem.result import Result, Run
from fem.stages import air_let_in, loading_of, stages_of, steps_of

if TYPE_CHECKING:
    from fem.arrays import Array
    from fem.newton import Model
    from fem.shape import Shape
    from fem.state import State

MODELS = ("fe", "fast")

TEARS = 8.0
"""Stretch beyond which no rubber holds: the softest silicones break at 7 to 10 (makers' data
sheets give an elongation of 700 to 900 %; from memory)."""

Report = Callable[[str, int, int], None]
"""Is told the model, the steps done and the steps in all."""


if TYPE_CHECKING:

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


def solve(
    case: Case,
    models: str | Sequence[str] = MODELS,
    resolution: str = "standard",
    *,
    full: bool = False,
    mesh_error: bool = False,
    report: Report | None = None,
) -> Result:
    """Solve a case.

    Parameters
    ----------
    case
        What is asked.
    models
        Which of ``"fe"`` and ``"fast"``.
    resolution
        Mesh of the FE model; see :func:`fem.fe.body.resolve`.
    full
        Mesh the whole tube instead of one of its equal sectors.
    mesh_error
        Solve the FE model on a mesh of twice the cell size as well, for the columns
        ``<measure>.mesh_error``.
    report
        Called after each step.

    A case whose threads have friction is solved with bonded threads as well, for the columns
    ``<measure>.if_bonded``.

    Raises
    ------
    InputError
        If a model or the resolution is not known.
    ArithmeticError
        If the case has no solution even at rest.
    """
    names = [models] if isinstance(models, str) else list(models)
    unknown = [name for name in names if name not in MODELS]
    if unknown or not names:
        raise InputError(f"models {names}: allowed are {', '.join(MODELS)}, one at least")
    bonded, second_mesh = with_bonded_threads(case), ""
    if mesh_error and "fe" in names:
        from fem.fe.body import coarser

        second_mesh = coarser(case, resolution)  # refused now rather than after the work
    runs: list[Run] = []
    for name in names:
        run = _run(case, name, resolution, full, report)
        runs.append(run)
        if run.interrupted:
            break
        if bonded and name == "fe":  # the fast model's threads are uniform: held or not is one
            add_bonded(run, _run(bonded, name, resolution, full, None))
        if mesh_error and name == "fe":
            add_mesh_error(run, _run(case, name, second_mesh, full, None))
    return Result(case, runs)


def build(case: Case, model: str, resolution: str = "standard", full: bool = False) -> Body:
    """Return the model of a case by its name; parameters as in :func:`solve`."""
    if model == "fe":
        from fem.fe.model import FEModel

        return FEModel(case, resolution, full=full)
    if model == "fast":
        from fem.fast.model import FastModel

        return FastModel(case)
    raise InputError(f'model "{model}": allowed are {", ".join(MODELS)}')


def _run(case: Case, name: str, resolution: str, full: bool, report: Report | None) -> Run:
    from fem.balance import check_balance

    began = time.perf_counter()
    model = build(case, name, resolution, full)
    track = Track(case, model, report)
    reason, interrupted = track.follow()
    return Run(
        model=model.name,
        rows=track.rows,
        reached=not reason,
        reason=reason,
        interrupted=interrupted,
        limit=track.limit,
        seconds=time.perf_counter() - began,
        balance=check_balance(track.states, track.reactions, case.tube.outer_radius),
        mesh=model.mesh,
        shapes=track.shapes,
    )


class Track:
    """A model followed along the path of a case, measured as it goes.

    Attributes
    ----------
    states, reactions, rows, shapes
        What was asked for so far, with limit points and what follows them.
    limit
        Where the tube balloons, in one clause; empty if it was not seen.
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
        from fem.path import follow
        from fem.state import LimitPointError, NoEquilibriumError

        try:
            for state in follow(self.model, loading_of(self.case), stages_of(self.case)):
                self._keep(state)
        except LimitPointError as end:
            return self.limit if self.states else self._stuck(end.state), False
        except NoEquilibriumError as failure:
            return self._stuck(failure.state), False
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
                f"balloon limit at {row['pressure_kPa']:.4g} kPa, twist {row['twist_deg']:.1f} deg,"
                f" bore stretch {row['bore_stretch']:.3f}"
            )
        if self._report:
            done = sum(state.asked for state in self.states)
            self._report(self.model.name, done, steps_of(self.case))

    def _row(self, state: State, measured: dict[str, Any]) -> dict[str, Any]:
        from fem.balance import energy_gap

        row = {
            "model": self.model.name,
            "step": len(self.rows),
            "pressure_kPa": state.pressure * 1e3,
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

    def _stuck(self, last: State) -> str:
        """Keep the last good state; return why there is no further one."""
        if not self.states:
            self._keep(replace(last, limit=False))
            self.rows[-1]["demanded"] = False  # it is only where the way there ended
            return f"the loads on the free end have no equilibrium beyond {self._place()}"
        if last.traffic > self.states[-1].traffic:
            self._keep(last)
        else:
            self.rows[-1]["newton_iterations"] += last.iterations
        if (stretch := self.rows[-1]["wall_stretch_max"]) > TEARS:
            return f"rubber limit at {self._place()}: the wall is stretched {stretch:.3g} times"
        asked = sum(state.asked for state in self.states) + 1
        reason = (
            f"no equilibrium was found beyond {self._place()} "
            f"on the way to step {asked} of {steps_of(self.case)}"
        )
        return reason + ("" if len(self.states) > 1 else "; try smaller loads or more steps")

    def _place(self) -> str:
        """Return where the path stands."""
        row = self.rows[-1]
        return (
            f"{row['pressure_kPa']:.4g} kPa, {row['displacement_mm']:.3f} mm, "
            f"{row['twist_deg']:.1f} deg"
        )
