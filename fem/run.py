"""From a case to its result: each model along the same path, the same measures, the same checks."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Protocol

from fem.case import Case
from fem.complaint import InputError
from fem.measure import Snapshot, measures
from fem.result import Result, Run

if TYPE_CHECKING:
    from fem.arrays import Array
    from fem.balance import Balanced
    from fem.path import Model, State
    from fem.shape import Shape

MODELS = ("fe", "fast")

Report = Callable[[str, int, int], None]
"""Is told the model, the steps done and the steps in all."""


if TYPE_CHECKING:

    class Body(Model, Balanced, Protocol):
        """A model that can be measured as well as solved."""

        name: str
        mesh: dict[str, Any]

        def snapshot(self, x: Array) -> Snapshot:
            """Return what the measures are taken from."""

        def shape(self, x: Array, load: float) -> Shape | None:
            """Return the shape for pictures, where the model has one."""


def solve(
    case: Case,
    models: str | Sequence[str] = MODELS,
    resolution: str = "standard",
    *,
    full: bool = False,
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
    report
        Called after each step.

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
    runs: list[Run] = []
    for name in names:
        runs.append(_run(case, name, resolution, full, report))
        if runs[-1].interrupted:
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


def _run(case: Case, name: str, resolution: str, full: bool, report: Report | None) -> Run:
    from fem.balance import check_balance

    began = time.perf_counter()
    model = build(case, name, resolution, full)
    states, reason, interrupted = _follow(model, case, report)
    snapshots = [model.snapshot(state.x) for state in states]
    volumes = [snapshot.volume for snapshot in snapshots]
    shapes = [model.shape(state.x, state.load) for state in states]
    return Run(
        model=model.name,
        rows=[
            _row(model.name, step, state, measures(snapshot, case.tube))
            for step, (state, snapshot) in enumerate(zip(states, snapshots, strict=True))
        ],
        reached=not reason,
        reason=reason,
        interrupted=interrupted,
        seconds=time.perf_counter() - began,
        balance=check_balance(model, states, volumes, case.tube.outer_radius),
        mesh=model.mesh,
        shapes=[shape for shape in shapes if shape is not None],
    )


def _follow(model: Body, case: Case, report: Report | None) -> tuple[list[State], str, bool]:
    """Return the states up to the last good one, why the path ends early, and if by the user."""
    from fem.path import NoEquilibriumError, follow

    states: list[State] = []
    try:
        for state in follow(model, case.pressure.values):
            states.append(state)
            if report:
                report(model.name, len(states) - 1, case.pressure.steps)
    except NoEquilibriumError as failure:
        asked = case.pressure.values[len(states) - 1]
        if failure.state.load > states[-1].load:
            states.append(failure.state)
        else:
            tried = states[-1].iterations + failure.state.iterations
            states[-1] = replace(states[-1], iterations=tried)
        reason = (
            f"no equilibrium was found beyond {states[-1].load * 1e3:.4g} kPa "
            f"on the way to {asked * 1e3:.4g} kPa"
        )
        at_rest = "" if states[-1].load else "; try a lower pressure or more steps"
        return states, reason + at_rest, False
    except KeyboardInterrupt:
        if not states:
            raise
        return states, f"interrupted after {states[-1].load * 1e3:.4g} kPa", True
    return states, "", False


def _row(model: str, step: int, state: State, measured: dict[str, Any]) -> dict[str, Any]:
    return {
        "model": model,
        "step": step,
        "pressure_kPa": state.load * 1e3,
        **measured,
        "newton_iterations": state.iterations,
        "stable": state.stable,
    }
