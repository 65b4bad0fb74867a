"""The command on many cases: a parameter study."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fem.cli.app import CAUTION, UNREACHED, app, fail, make_folder, plain_errors

if TYPE_CHECKING:
    from fem.study.crew import Crew


@app.command()
def study(
    file: Annotated[Path, typer.Argument(metavar="STUDY", help="Study file (TOML).")],
    workers: Annotated[int, typer.Option(min=1, help="Processes on this machine.")] = 2,
    scheduler: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS", help="Dask scheduler whose workers do it, such as tcp://host:8786."
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Result folder  [default: results/<study name>]"),
    ] = None,
    resume: Annotated[
        bool, typer.Option("--resume", help="Go on with what an earlier run has not done.")
    ] = False,
    retry: Annotated[
        bool, typer.Option("--retry", help="Go on, and solve again what failed.")
    ] = False,
    pictures: Annotated[bool, typer.Option(help="Draw pictures.")] = True,
    dry_run: Annotated[
        bool,
        typer.Option("--dry-run", help="Only say how many cases there are, and what they take."),
    ] = False,
) -> None:
    """Solve a parameter study and write its table and pictures."""
    with plain_errors():
        from fem.show.study.console import print_estimate, print_outcome, progress
        from fem.study.agenda import Agenda
        from fem.study.estimate import estimate
        from fem.study.ledger import LedgerError
        from fem.study.plan import Study
        from fem.study.run import run

        agenda = Agenda.of(Study.load(file))
        if dry_run:
            print_estimate(agenda, estimate(agenda), workers)
            return
        folder = make_folder(out or Path("results") / file.name.split(".")[0])
        try:
            with progress(agenda) as report:
                crew = _crew(workers, scheduler)
                outcome = run(agenda, folder, crew, resume=resume, retry=retry, report=report)
            outcome.save(folder)
            if pictures and len(outcome.table):
                from fem.show.study.pictures import save_pictures

                save_pictures(outcome, folder)
        except (LedgerError, OSError) as error:
            kept = "the curves that are done are kept: make room, then go on with --resume"
            fail(f"{folder}: {error}; {kept}", UNREACHED)
    print_outcome(outcome, agenda, folder)
    typer.echo(CAUTION)
    if not outcome.complete:
        raise typer.Exit(UNREACHED)


def _crew(workers: int, scheduler: str | None) -> Crew:
    from fem.study.crew import ClusterCrew, LocalCrew

    return ClusterCrew(scheduler) if scheduler else LocalCrew(workers)
