"""What the commands share: the application, exit codes, error messages, options."""

from __future__ import annotations

import os
import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer

from fem import __version__
from fem.core.errors import InputError
from fem.core.renamed import RenamedWarning

NOT_INSTALLED, UNUSABLE, INCOMPLETE = 1, 2, 3
EXIT_CODES = (
    "Exit codes: 0 done; 1 something is not installed; 2 the input cannot be used; 3 a requested "
    "step was not reached, a validation check failed, or the run was interrupted (results so far "
    "are written); 130 interrupted before there were results."
)
CAUTION = (
    "Estimates, not a certificate. Pressurised rubber can burst; hoses and taut threads can whip. "
    "Shield the device, limit the pressure, wear eye protection, follow local rules."
)

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Predict twist, displacement and bulge of a rubber tube with threads under pressure.",
    epilog=EXIT_CODES,
)


def folder_option(default: str) -> Any:
    """Return the option of a command that names the folder to write to."""
    return typer.Option(metavar="DIR", help=f"Folder to write to.  [default: {default}]")


CaseFile = Annotated[Path, typer.Argument(metavar="CASE", help="Case file (TOML).")]
StudyFolder = Annotated[Path, typer.Argument(metavar="RESULTS", help="Result folder of a study.")]
Resolution = Annotated[
    str,
    typer.Option(
        metavar="MESH",
        help="coarse, standard, fine, or cells as 1x2x20 (wall x sector x length).",
    ),
]
Full = Annotated[bool, typer.Option("--full", help="Mesh the whole tube instead of one sector.")]


@app.callback(invoke_without_command=True)
def _root(
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        typer.echo(f"tubewright {__version__}")
        raise typer.Exit


def make_folder(folder: Path) -> Path:
    """Make the result folder; call it before the solve, so that errors appear early."""
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder}: this is a file; a folder is required")
    folder.mkdir(parents=True, exist_ok=True)
    if not os.access(folder, os.W_OK):
        raise InputError(f"{folder}: no permission to write files in this folder")
    return folder


def print_written(file: Path) -> None:
    """Print name and size of a file that was written, and the caution."""
    typer.echo(f"{file}: {file.stat().st_size / 1e6:.1f} MB")
    typer.echo(CAUTION)


@contextmanager
def plain_errors() -> Iterator[None]:
    """Turn errors that the user can fix into a message and an exit code; print notices."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("default", RenamedWarning)  # a notice, even under -W error
            warnings.showwarning = partial(_show, warnings.showwarning)
            yield
    except InputError as error:
        fail(str(error))
    except ArithmeticError as error:
        fail(f"the case has no solution even at rest: {error}", INCOMPLETE)
    except OSError as error:
        reason = error.strerror or str(error)
        fail(f"{error.filename}: {reason}" if error.filename else reason)


def _show(other: Callable[..., None], message: Warning | str, *place: Any) -> None:
    """Print a warning: a renamed value as a notice, any `other` as Python does."""
    if isinstance(message, RenamedWarning):
        typer.echo(f"notice: {message}", err=True)
    else:
        other(message, *place)


def fail(message: str, code: int = UNUSABLE) -> NoReturn:
    """End with a message on standard error and an exit code."""
    for line in message.splitlines():
        typer.echo(f"error: {line}", err=True)
    sys.exit(code)
