"""The commands on the tool itself: what it knows, how far it may be trusted, if it runs."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from fem.cli.app import LACKING, UNREACHED, app, fail, make_folder, plain_errors


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
    with plain_errors():
        try:
            from validation.console import print_book, progress
            from validation.page import write_book
            from validation.run import chosen, run
        except ModuleNotFoundError as missing:
            lack = (
                f"{missing.name} is not installed: run make setup, or pip install '.[validation]'"
            )
            fail(lack, LACKING)
        chapters = chosen(names or ())
        folder = make_folder(out)
        with progress() as report:
            book = run(chapters, whole=whole, workers=workers, report=report)
        print_book(book, write_book(book, folder, whole, names or ()))
    if not book.passed:
        raise typer.Exit(UNREACHED)


@app.command()
def materials() -> None:
    """List the rubbers that a case may name."""
    from fem.cli.print_materials import print_materials

    print_materials()


class FileKind(StrEnum):
    """The files that have a schema."""

    CASE = "case"
    STUDY = "study"


@app.command()
def schema(
    kind: Annotated[FileKind, typer.Argument(help="Of which file.")] = FileKind.CASE,
) -> None:
    """Print the JSON schema of a case or study file, for an editor."""
    import json

    from fem.case.case import Case
    from fem.core.schema_base import schema_of_file
    from fem.study.plan import Study

    model = Study if kind is FileKind.STUDY else Case
    typer.echo(json.dumps(schema_of_file(model), indent=2))


@app.command("check-install")
def check_install() -> None:
    """Test what the package stands on, and say what mends it."""
    from fem.installation.check import check, report

    if not report(check()):
        raise typer.Exit(LACKING)
