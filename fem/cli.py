"""The command `tubewright`: parse, call, print. Heavy imports wait inside the commands.

Exit codes: 0 done; 1 the installation lacks something; 2 the input cannot be used; 3 the last
demanded step was not reached, a validated figure is off, or the user broke off (what was reached is
written all the same), or there is no equilibrium even at rest (then nothing is).
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from fem import __version__
from fem.complaint import InputError

LACKING, USE, UNREACHED = 1, 2, 3
CAUTION = (
    "Estimates, not a certificate. Pressurised rubber can burst, hoses and taut threads whip: "
    "shield the device, limit the pressure, wear eye protection, follow local rules."
)

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Predict how a rubber tube with threads turns, moves and bulges under pressure.",
)

CaseFile = Annotated[Path, typer.Argument(metavar="CASE", help="Case file (TOML).")]
Resolution = Annotated[
    str,
    typer.Option(
        help="coarse, standard, fine, or cell counts through the wall x round a sector x along "
        "the axis, such as 1x2x20."
    ),
]
Full = Annotated[bool, typer.Option("--full", help="Mesh the whole tube, not one sector of it.")]


class ModelChoice(StrEnum):
    """Which models to solve."""

    FE = "fe"
    FAST = "fast"
    BOTH = "both"


def main() -> None:
    """Run the command."""
    app()


@app.command()
def solve(
    case: CaseFile,
    model: Annotated[ModelChoice, typer.Option(help="Which model.")] = ModelChoice.BOTH,
    resolution: Resolution = "standard",
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Result folder  [default: results/<case name>]"),
    ] = None,
    full: Full = False,
    mesh_error: Annotated[
        bool,
        typer.Option(
            "--mesh-error", help="Solve the FE model on a coarser mesh too, to estimate its error."
        ),
    ] = False,
) -> None:
    """Solve a case and write tables, shapes and pictures."""
    from fem.companion import companions
    from fem.show.console import print_result, progress

    with _plain_errors():
        from fem import Case
        from fem import solve as solve_case
        from fem.show.pictures import save_pictures
        from fem.stages import steps_of

        loaded = Case.load(case)
        models = _chosen(model, mesh_error)
        folder = _make_folder(out or Path("results") / case.stem)
        seconds = companions(loaded, models, mesh_error)
        with progress(models, steps_of(loaded), seconds) as report:
            result = solve_case(
                loaded, models, resolution, full=full, mesh_error=mesh_error, report=report
            )
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


def _make_folder(folder: Path) -> Path:
    """Make the result folder; better before the work than after it."""
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder}: this is a file; a folder is needed")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


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
    with _plain_errors():
        from fem import Case
        from fem.fe.body import meshed_case, write_mesh

        loaded = meshed_case(Case.load(case), resolution, full)
        counts = write_mesh(loaded, resolution, 1 if full else loaded.sectors, output)
    typer.echo(
        f"{output}: {counts.radial} x {counts.around} x {counts.axial} cells "
        "(through the wall x round the body x along the axis)"
    )


@app.command()
def validate(
    names: Annotated[
        list[str] | None,
        typer.Argument(metavar="[NAME]...", help="Chapters, such as balloon  [default: all]"),
    ] = None,
    whole: Annotated[bool, typer.Option("--whole", help="The slow checks too.")] = False,
    workers: Annotated[int, typer.Option(min=1, help="Processes.")] = 2,
    out: Annotated[
        Path, typer.Option(metavar="DIR", help="Folder for the table and the page.")
    ] = Path("results/validation"),
) -> None:
    """Hold both models against published figures, and write one table and one page."""
    with _plain_errors():
        try:
            from validation.console import print_book, progress
            from validation.page import write_book
            from validation.run import chosen, run
        except ModuleNotFoundError as missing:
            lack = (
                f"{missing.name} is not installed: run make setup, or pip install '.[validation]'"
            )
            _fail(lack, LACKING)
        chapters = chosen(names or ())
        folder = _make_folder(out)
        with progress() as report:
            book = run(chapters, whole=whole, workers=workers, report=report)
        print_book(book, write_book(book, folder, whole, names or ()))
    if not book.passed:
        raise typer.Exit(UNREACHED)


@app.command()
def materials() -> None:
    """List the rubbers that a case may name."""
    from fem.show.materials import print_materials

    print_materials()


@app.command()
def schema() -> None:
    """Print the JSON schema of a case file, for an editor."""
    import json

    from fem.case import schema as case_schema

    typer.echo(json.dumps(case_schema(), indent=2))


@app.command("check-install")
def check_install() -> None:
    """Test what the package stands on, and say what mends it."""
    from fem.install import check, report

    if not report(check()):
        raise typer.Exit(LACKING)


@app.callback(invoke_without_command=True)
def _root(
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        typer.echo(f"tubewright {__version__}")
        raise typer.Exit


@contextmanager
def _plain_errors() -> Iterator[None]:
    """Turn errors that the user can mend into a sentence and an exit code."""
    try:
        yield
    except InputError as error:
        _fail(str(error))
    except ArithmeticError as error:
        _fail(f"the case has no solution even at rest: {error}", UNREACHED)
    except OSError as error:
        _fail(f"{error.filename}: {error.strerror}" if error.filename else str(error))


def _fail(message: str, code: int = USE) -> NoReturn:
    for line in message.splitlines():
        typer.echo(f"error: {line}", err=True)
    sys.exit(code)
