"""The commands on the tool itself: validation, materials, schemas, installation."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from fem.cli.app import INCOMPLETE, NOT_INSTALLED, app, fail, make_folder, plain_errors
from fem.core.errors import InputError


@app.command()
def validate(
    names: Annotated[
        list[str] | None,
        typer.Argument(metavar="NAME", help="Chapters, such as balloon.  [default: all]"),
    ] = None,
    whole: Annotated[bool, typer.Option("--whole", help="Run the slow checks too.")] = False,
    workers: Annotated[int, typer.Option(metavar="N", min=1, help="Processes to use.")] = 2,
    out: Annotated[
        Path, typer.Option(metavar="DIR", help="Folder for the table and the page.")
    ] = Path("results/validation"),
    csv: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the full list of values here.")
    ] = None,
) -> None:
    """Compare both models with published values."""
    with plain_errors():
        try:
            from validation.console import print_result, progress
            from validation.page import write_result
            from validation.run import chosen, run
        except ModuleNotFoundError as missing:
            message = (
                f"{missing.name} is not installed: run make setup, or pip install '.[validation]'"
            )
            fail(message, NOT_INSTALLED)
        chapters = chosen(names or ())
        folder = make_folder(out)
        if csv is not None:
            make_folder(csv.parent)
            if csv.is_dir():
                raise InputError(f"--csv {csv}: this is a folder; a file is required")
        with progress() as report:
            result = run(chapters, whole=whole, workers=workers, report=report)
        if result.interrupted and not result.checks:
            raise KeyboardInterrupt  # nothing to write
        of = f" of {', '.join(names)}" if names else ""
        scope = f"{'All' if whole else 'The quick'} checks{of} were requested."
        print_result(result, write_result(result, folder, scope, csv))
    if not result.passed:
        raise typer.Exit(INCOMPLETE)


@app.command()
def materials() -> None:
    """List the rubber materials of the library."""
    from fem.cli.print_materials import print_materials

    print_materials()


class FileKind(StrEnum):
    """The files that have a schema."""

    CASE = "case"
    STUDY = "study"


@app.command()
def schema(
    kind: Annotated[FileKind, typer.Argument(help="Kind of file.")] = FileKind.CASE,
) -> None:
    """Print the JSON schema of a case or study file."""
    import json

    from fem.case.case import Case
    from fem.core.schema_base import schema_of_file
    from fem.study.plan import Study

    model = Study if kind is FileKind.STUDY else Case
    typer.echo(json.dumps(schema_of_file(model), indent=2))


@app.command("check-install")
def check_install() -> None:
    """Check the installation, and report how to fix it."""
    from fem.installation.check import check, report

    if not report(check()):
        raise typer.Exit(NOT_INSTALLED)
