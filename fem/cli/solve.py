"""The commands on one case: solve it, write its mesh."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from fem.cli.app import (
    CAUTION,
    UNREACHED,
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
    """Which models to solve."""

    FE = "fe"
    FAST = "fast"
    BOTH = "both"


@app.command()
def solve(
    case: CaseFile,
    model: Annotated[ModelChoice, typer.Option(help="Which model.")] = ModelChoice.BOTH,
    resolution: Resolution = "standard",
    out: Annotated[Path | None, folder_option("results/<case name>")] = None,
    full: Full = False,
    mesh_error: Annotated[
        bool,
        typer.Option(
            "--mesh-error", help="Solve the FE model on a coarser mesh too, to estimate its error."
        ),
    ] = False,
    overwrite: Annotated[
        bool,
        typer.Option(
            "--overwrite",
            help="Replace what the folder holds, even another case or more than is solved now.",
        ),
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
        seconds = additional_solves(loaded, models, mesh_error)
        if not overwrite:
            check_replaceable(folder, loaded, [*models, *(second.solve for second in seconds)])
        with progress(models, steps_of(loaded), seconds) as report:
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
        raise typer.Exit(UNREACHED)


def _chosen(model: ModelChoice, mesh_error: bool) -> tuple[str, ...]:
    """Return the models to solve."""
    if mesh_error and model is ModelChoice.FAST:
        raise InputError("--mesh-error: the fast model has no mesh; take --model fe or both")
    return ("fe", "fast") if model is ModelChoice.BOTH else (model.value,)


@app.command()
def mesh(
    case: CaseFile,
    output: Annotated[
        Path, typer.Option("-o", "--output", metavar="FILE", help="Ends in .msh, .vtu or .vtk.")
    ],
    resolution: Resolution = "standard",
    full: Full = False,
) -> None:
    """Write the mesh that a case is solved on."""
    with plain_errors():
        from fem import Case
        from fem.fe.mesh.body import write_mesh

        counts = write_mesh(Case.load(case), resolution, full, output)
    typer.echo(
        f"{output}: {counts.radial} x {counts.around} x {counts.axial} cells "
        "(through the wall x round the body x along the axis)"
    )
