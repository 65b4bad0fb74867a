"""The commands `solve` and `mesh`, for one case."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from fem.cli.app import (
    CAUTION,
    INCOMPLETE,
    CaseFile,
    Full,
    Resolution,
    app,
    folder_option,
    make_folder,
    plain_errors,
)
from fem.core.errors import InputError


class ModelChoice(StrEnum):
    """The models to solve."""

    FE = "fe"
    FAST = "fast"
    BOTH = "both"


@app.command()
def solve(
    case: CaseFile,
    model: Annotated[ModelChoice, typer.Option(help="Model to solve.")] = ModelChoice.BOTH,
    resolution: Resolution = "standard",
    out: Annotated[Path | None, folder_option("results/<case name>")] = None,
    full: Full = False,
    mesh_error: Annotated[
        bool,
        typer.Option("--mesh-error", help="Estimate the FE mesh error from a coarser mesh."),
    ] = False,
    overwrite: Annotated[
        bool,
        typer.Option("--overwrite", help="Replace any earlier result in the folder."),
    ] = False,
) -> None:
    """Solve a case and write tables, shapes and pictures.

    A result of the same case is replaced if all its models and additional solves are solved again.
    """
    from fem.cli.print_result import print_result, progress
    from fem.results.additional_solve import additional_solves
    from fem.results.reader import check_replaceable

    with plain_errors():
        from fem import Case
        from fem import solve as solve_case
        from fem.continuation.load_steps import steps_of
        from fem.plots.curves import save_pictures

        loaded = Case.load(case)
        models = _chosen(model, mesh_error)
        folder = make_folder(out or Path("results") / case.stem)
        additional = additional_solves(loaded, models, mesh_error)
        if not overwrite:
            check_replaceable(folder, loaded, [*models, *(one.solve for one in additional)])
        with progress(models, steps_of(loaded), additional) as report:
            result = solve_case(
                loaded, models, resolution, full=full, mesh_error=mesh_error, report=report
            )
        if result.interrupted and not overwrite:
            check_replaceable(folder, loaded, result.solves)
        result.save(folder)
        save_pictures(result, folder)
    print_result(result, folder)
    typer.echo(CAUTION)
    if not result.reached or result.interrupted:
        raise typer.Exit(INCOMPLETE)


def _chosen(model: ModelChoice, mesh_error: bool) -> tuple[str, ...]:
    """Return the models to solve."""
    if mesh_error and model is ModelChoice.FAST:
        raise InputError("--mesh-error: the fast model has no mesh; use --model fe or both")
    return ("fe", "fast") if model is ModelChoice.BOTH else (model.value,)


@app.command()
def mesh(
    case: CaseFile,
    output: Annotated[
        Path,
        typer.Option("-o", "--output", metavar="FILE", help="File to write: .msh, .vtu or .vtk."),
    ],
    resolution: Resolution = "standard",
    full: Full = False,
) -> None:
    """Write the mesh of a case."""
    with plain_errors():
        from fem import Case
        from fem.fe.mesh.body import write_mesh

        counts = write_mesh(Case.load(case), resolution, full, output)
    typer.echo(
        f"{output}: {counts.radial} x {counts.around} x {counts.axial} cells "
        "(through the wall x around the body x along the axis)"
    )
