"""What the commands share: the application, exit codes, errors in plain words, options."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer

from fem import __version__
from fem.core.errors import InputError

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


def folder_option(default: str) -> Any:
    """Return the option of a command that names the folder to write to."""
    return typer.Option(metavar="DIR", help=f"Folder to write to  [default: {default}]")


CaseFile = Annotated[Path, typer.Argument(metavar="CASE", help="Case file (TOML).")]
StudyFolder = Annotated[Path, typer.Argument(metavar="RESULTS", help="Result folder of a study.")]
Resolution = Annotated[
    str,
    typer.Option(
        help="coarse, standard, fine, or cell counts through the wall x round a sector x along "
        "the axis, such as 1x2x20."
    ),
]
Full = Annotated[bool, typer.Option("--full", help="Mesh the whole tube, not one sector of it.")]


@app.callback(invoke_without_command=True)
def _root(
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        typer.echo(f"tubewright {__version__}")
        raise typer.Exit


def make_folder(folder: Path) -> Path:
    """Make the result folder; better before the work than after it."""
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder}: this is a file; a folder is needed")
    folder.mkdir(parents=True, exist_ok=True)
    if not os.access(folder, os.W_OK):
        raise InputError(f"{folder}: files cannot be written into this folder")
    return folder


def say_written(file: Path) -> None:
    """Say how large a file is that was written, and what to mind of its values."""
    typer.echo(f"{file}: {file.stat().st_size / 1e6:.1f} MB")
    typer.echo(CAUTION)


@contextmanager
def plain_errors() -> Iterator[None]:
    """Turn errors that the user can mend into a sentence and an exit code."""
    try:
        yield
    except InputError as error:
        fail(str(error))
    except ArithmeticError as error:
        fail(f"the case has no solution even at rest: {error}", UNREACHED)
    except OSError as error:
        why = error.strerror or str(error)
        fail(f"{error.filename}: {why}" if error.filename else why)


def fail(message: str, code: int = USE) -> NoReturn:
    """End with a message on standard error and an exit code."""
    for line in message.splitlines():
        typer.echo(f"error: {line}", err=True)
    sys.exit(code)
