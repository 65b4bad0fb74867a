"""The command `report`: a result or a study as one page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fem.cli.app import app, plain_errors, print_written


@app.command()
def report(
    folder: Annotated[
        Path, typer.Argument(metavar="RESULT|STUDY", help="Folder of a result or of a study.")
    ],
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="File to write.  [default: report.html in the folder]"),
    ] = None,
) -> None:
    """Write a result or a study as one HTML page."""
    with plain_errors():
        from rich.console import Console

        from fem.report.write import write_report

        with Console(stderr=True).status("writing the report"):  # only in a terminal
            file = write_report(folder, out)
        print_written(file)
