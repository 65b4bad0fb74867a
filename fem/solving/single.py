"""From a case to its result: each model along the same path, the same measures, the same checks."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

from fem.case.case import Case
from fem.core.cache import Chain
from fem.core.errors import InputError
from fem.results.additional_solve import (
    COARSER_MESH,
    Companion,
    broken_off,
    companions,
    compare,
    with_bonded_threads,
    without_rest,
)
from fem.results.result import Result
from fem.results.run import Report, Run

if TYPE_CHECKING:
    from fem.results.recorder import Body

MODELS = ("fe", "fast")


def solve(
    case: Case,
    models: str | Sequence[str] = MODELS,
    resolution: str = "standard",
    *,
    full: bool = False,
    mesh_error: bool = False,
    report: Report | None = None,
    chain: Chain | None = None,
) -> Result:
    """Solve a case.

    Parameters
    ----------
    case
        What is asked.
    models
        Which of ``"fe"`` and ``"fast"``.
    resolution
        Mesh of the FE model; see :func:`fem.fe.mesh.body.resolve`.
    full
        Mesh the whole tube instead of one of its equal sectors.
    mesh_error
        Solve the FE model on a mesh of twice the cell size as well, for the columns
        ``<measure>.mesh_error``.
    report
        Called after each step.
    chain
        Keeps what neighbouring cases share, from one to the next.

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
    seconds = [_second_solve(companion, case, resolution, full, chain) for companion in asked]
    runs: list[Run] = []
    for name in names:
        run = _run(case, partial(build, case, name, resolution, full, chain), report)
        if name == "fe" and not run.interrupted:
            run = _with_seconds(run, seconds, report)
        runs.append(run)
        if run.interrupted:
            break
    return Result(case, runs)


def build(
    case: Case,
    model: str,
    resolution: str = "standard",
    full: bool = False,
    chain: Chain | None = None,
) -> Body:
    """Return the model of a case by its name; parameters as in :func:`solve`."""
    if model == "fe":
        from fem.fe.model import FEModel

        return FEModel(case, resolution, full=full, chain=chain)
    if model == "fast":
        from fem.fast.model import FastModel

        return FastModel(case)
    raise InputError(f'model "{model}": allowed are {", ".join(MODELS)}')


class SecondSolve(NamedTuple):
    """A second solve of the FE model: what for, of which case, and how its model is built."""

    companion: Companion
    case: Case
    build: Callable[[], Body]


def _second_solve(
    companion: Companion, case: Case, resolution: str, full: bool, chain: Chain | None
) -> SecondSolve:
    from fem.fe.mesh.body import coarser, meshed_counts
    from fem.fe.model import FEModel

    if companion is COARSER_MESH:
        counts = meshed_counts(case, resolution, full)  # both meshes hold the same threads
        cells = coarser(case, resolution, counts)
        make = partial(FEModel, case, cells, full=full, counts=counts, chain=chain)
        return SecondSolve(companion, case, make)
    bonded = with_bonded_threads(case)
    return SecondSolve(companion, bonded, partial(build, bonded, "fe", resolution, full, chain))


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
    from fem.results.equilibrium_checks import check_balance
    from fem.results.recorder import Track

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
        lost=track.lost,
        limit=track.limit,
        seconds=time.perf_counter() - began,
        balance=check_balance(track.states, track.reactions, case.tube.outer_radius),
        mesh=model.mesh,
        shapes=track.shapes,
    )
