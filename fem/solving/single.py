"""From a case to its result: each model with the same path, outputs and checks."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING

from fem.case.case import Case
from fem.continuation.termination import TerminationKind
from fem.core.cache import MeshCache
from fem.core.errors import InputError
from fem.results.additional_solve import (
    COARSER_MESH,
    AdditionalSolve,
    add_columns,
    add_incomplete,
    additional_solves,
    with_bonded_threads,
)
from fem.results.result import Result
from fem.results.run import Report, Run
from fem.results.termination import Termination

if TYPE_CHECKING:
    from fem.results.recorder import RecordableModel

MODELS = ("fe", "fast")

type Pending = tuple[AdditionalSolve, Case, Callable[[], RecordableModel]]


def solve(
    case: Case,
    models: str | Sequence[str] = MODELS,
    resolution: str = "standard",
    *,
    full: bool = False,
    mesh_error: bool = False,
    report: Report | None = None,
    mesh_cache: MeshCache | None = None,
) -> Result:
    """Solve a case.

    If threads have friction, the FE model is solved with bonded threads as well, for the columns
    ``<measure>.if_bonded``. Additional solves add columns to the rows of the FE model only; its run
    is kept if they fail. Linear algebra uses one thread during a solve; afterwards the setting of
    the process is restored.

    Parameters
    ----------
    case
        The case.
    models
        ``"fe"``, ``"fast"`` or both.
    resolution
        Mesh of the FE model: ``"coarse"``, ``"standard"``, ``"fine"``, or cells through the wall x
        around a sector x along the axis, such as ``"1x2x20"``.
    full
        Mesh the full tube instead of one of its equal sectors.
    mesh_error
        Solve the FE model on a mesh of twice the cell size as well, for the columns
        ``<measure>.mesh_error``.
    report
        Called after each step.
    mesh_cache
        Cache of meshed tubes for similar cases.

    Returns
    -------
    Result
        A run for each model. A path that ends early is no error: its run has the reason.

    Raises
    ------
    InputError
        If a model or the resolution is not known.
    TypeError
        If `case` is not a case, but a file name, for example.
    ArithmeticError
        If the case has no solution at rest.

    Examples
    --------
    >>> result = solve(case, "fast")
    >>> result.steps[["pressure_kPa", "twist_deg"]].shape
    (6, 2)
    """
    if not isinstance(case, Case):
        raise TypeError(f"{case!r} is not a Case; read a file by Case.load")
    names = checked_models(models)
    wanted = additional_solves(case, names, mesh_error)
    # a mesh that cannot be coarser raises here, before the solves
    pending = [_with_builder(each, case, resolution, full, mesh_cache) for each in wanted]
    runs: list[Run] = []
    for name in names:
        run = _run(case, partial(build, case, name, resolution, full, mesh_cache), report, name)
        if name == "fe" and not run.interrupted:
            _solve_additional(run, pending, report)
        runs.append(run)
        if run.interrupted:
            break
    return Result(case, runs)


def checked_models(models: str | Sequence[str]) -> list[str]:
    """Return the names of models, each once.

    Raises
    ------
    InputError
        If a name is not known, or there is none.
    """
    names = [models] if isinstance(models, str) else list(dict.fromkeys(models))
    unknown = [name for name in names if name not in MODELS]
    if unknown or not names:
        fault = f"models {unknown}: unknown" if unknown else "models: at least one is required"
        raise InputError(f"{fault}; allowed: {', '.join(MODELS)}")
    return names


def build(
    case: Case,
    model: str,
    resolution: str = "standard",
    full: bool = False,
    mesh_cache: MeshCache | None = None,
) -> RecordableModel:
    """Return the model of a case by its name; parameters as in :func:`solve`."""
    if model == "fe":
        from fem.fe.model import FEModel

        return FEModel(case, resolution, full=full, mesh_cache=mesh_cache)
    if model == "fast":
        from fem.fast.model import FastModel

        return FastModel(case)
    raise InputError(f'model "{model}": unknown; allowed: {", ".join(MODELS)}')


def _with_builder(
    additional: AdditionalSolve,
    case: Case,
    resolution: str,
    full: bool,
    mesh_cache: MeshCache | None,
) -> Pending:
    """Return an additional solve with its case, and the function that builds its model."""
    from fem.fe.mesh.body import coarser, meshed_counts
    from fem.fe.model import FEModel

    if additional is COARSER_MESH:
        counts = meshed_counts(case, resolution, full)  # both meshes have the same threads
        cells = coarser(case, resolution, counts)
        make = partial(FEModel, case, cells, full=full, counts=counts, mesh_cache=mesh_cache)
        return additional, case, make
    bonded = with_bonded_threads(case)
    return additional, bonded, partial(build, bonded, "fe", resolution, full, mesh_cache)


def _solve_additional(run: Run, pending: Sequence[Pending], report: Report | None) -> None:
    """Add the results of additional solves to the run of the FE model, up to an interruption."""
    for additional, case, make in pending:
        try:
            other = _run(case, make, report, additional.solve)
        except ArithmeticError as failure:
            add_incomplete(run, additional, Termination.failed(TerminationKind.NO_REST, failure))
            continue
        except KeyboardInterrupt:  # before the first row
            add_incomplete(run, additional, Termination(TerminationKind.INTERRUPTED))
            return
        add_columns(run, additional, other)
        if other.interrupted:
            return


def _run(case: Case, make: Callable[[], RecordableModel], report: Report | None, name: str) -> Run:
    """Return the run of a model; `name` is passed to `report`."""
    from threadpoolctl import threadpool_limits

    from fem.results.equilibrium_checks import check_balance
    from fem.results.recorder import PathRecorder

    began = time.perf_counter()
    model = make()
    recorder = PathRecorder(case, model, report and partial(report, name))
    with threadpool_limits(limits=1):  # matrices are small or sparse: threads do not help
        termination = recorder.record()
    return Run(
        model=model.name,
        rows=recorder.rows,
        termination=termination,
        seconds=time.perf_counter() - began,
        balance=check_balance(recorder.states, recorder.reactions, case.tube.outer_radius),
        mesh=model.mesh,
        shapes=recorder.shapes,
    )
