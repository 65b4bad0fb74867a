"""From a case to its result: each model along the same path, the same measures, the same checks."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

from fem.case import Case
from fem.companion import (
    COARSER_MESH,
    Companion,
    broken_off,
    companions,
    compare,
    with_bonded_threads,
    without_rest,
)
from fem.complaint import InputError
from fem.loading import AXIAL, PRESSURE, TWIST
from fem.measure import Reactions, Snapshot, measures
from fem.result import Result, Run
from fem.stages import air_let_in, loading_of, stages_of, steps_of

if TYPE_CHECKING:
    from fem.arrays import Array
    from fem.newton import Model
    from fem.shape import Shape
    from fem.state import PathEndError, State

MODELS = ("fe", "fast")

Report = Callable[[str, int, int], None]
"""Is told what is solved, the steps done and the steps in all.

What is solved is a model by its name or, as ``"fe.mesh_error"``, the FE model for the second time.
"""


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

    If threads have friction, the FE model is solved with bonded threads as well, for the columns
    ``<measure>.if_bonded``. Second solves add columns to the rows of the FE model only; whatever
    becomes of them, its run is kept.

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
    asked = companions(case, names, mesh_error)
    # a mesh that cannot be coarser is refused now rather than after the work
    seconds = [_second_solve(companion, case, resolution, full) for companion in asked]
    runs: list[Run] = []
    for name in names:
        run = _run(case, partial(build, case, name, resolution, full), report)
        if name == "fe" and not run.interrupted:
            run = _with_seconds(run, seconds, report)
        runs.append(run)
        if run.interrupted:
            break
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


class SecondSolve(NamedTuple):
    """A second solve of the FE model: what for, of which case, and how its model is built."""

    companion: Companion
    case: Case
    build: Callable[[], Body]


def _second_solve(companion: Companion, case: Case, resolution: str, full: bool) -> SecondSolve:
    from fem.fe.body import coarser, meshed_case
    from fem.fe.model import FEModel

    if companion is COARSER_MESH:
        meshed = meshed_case(case, resolution, full)  # both meshes hold the same threads
        counts = coarser(meshed, resolution)
        make = partial(FEModel, case, counts, full=full, meshed=meshed)
        return SecondSolve(companion, case, make)
    bonded = with_bonded_threads(case)
    return SecondSolve(companion, bonded, partial(build, bonded, "fe", resolution, full))


def _with_seconds(run: Run, seconds: Sequence[SecondSolve], report: Report | None) -> Run:
    """Return the run of the FE model with what its second solves tell, up to an interruption."""
    for companion, case, make in seconds:
        try:
            other = _run(case, make, _renamed(report, companion.solve))
        except ArithmeticError as failure:
            run.shortfalls.append(without_rest(companion, failure))
            continue
        except KeyboardInterrupt:  # before the first row of the second solve
            return broken_off(run, companion)
        compare(run, companion, other)
        if other.interrupted:
            return broken_off(run, companion)
    return run


def _renamed(report: Report | None, solve: str) -> Report | None:
    """Return the report of a solve that is told under another name than its model's."""
    return report and (lambda _, done, steps: report(solve, done, steps))


def _run(case: Case, make: Callable[[], Body], report: Report | None) -> Run:
    from fem.balance import check_balance

    began = time.perf_counter()
    model = make()
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
        from fem.state import LimitPointError, PathEndError

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
        """Keep the last good state; return why there is no further one."""
        from fem.path import TEARS
        from fem.state import RubberLimitError

        last, torn = end.state, isinstance(end, RubberLimitError)
        tears = f"the wall would be stretched more than {TEARS:g} times"
        if not self.states:  # this is only where the way to the beginning ended
            self._keep(replace(last, limit=False, work=0.0, traffic=0.0))
            self.rows[-1]["demanded"] = False
            reason = f"the loads on the free end have no equilibrium beyond {self._place()}"
            return f"{reason}: {tears}" if torn else reason
        if last.traffic > self.states[-1].traffic:
            self._keep(last)
        else:
            self.rows[-1]["newton_iterations"] += last.iterations
        if torn:
            return f"rubber limit at {self._place()}: beyond, {tears}"
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
