"""The command `study`: solve many cases."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from fem.cli.app import CAUTION, INCOMPLETE, app, fail, folder_option, make_folder, plain_errors


@app.command()
def study(
    file: Annotated[Path, typer.Argument(metavar="STUDY", help="Study file (TOML).")],
    workers: Annotated[
        int, typer.Option(metavar="N", min=1, help="Processes on this machine.")
    ] = 2,
    scheduler: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Dask scheduler to use, such as tcp://host:8786."),
    ] = None,
    out: Annotated[Path | None, folder_option("results/<study name>")] = None,
    resume: Annotated[
        bool, typer.Option("--resume", help="Continue an earlier run: solve what is missing.")
    ] = False,
    retry: Annotated[
        bool,
        typer.Option("--retry", help="Continue, and solve failed curves again."),
    ] = False,
    pictures: Annotated[bool, typer.Option(help="Write pictures.")] = True,
    dry_run: Annotated[
        bool,
        typer.Option("--dry-run", help="Only print the number of cases and the time."),
    ] = False,
) -> None:
    """Solve a parameter study and write its table and pictures."""
    with plain_errors():
        from fem.cli.print_study import print_estimate, print_study_result, progress
        from fem.core.processes import WorkerPool
        from fem.plots.study.figures import save_pictures
        from fem.study.estimate import estimate
        from fem.study.executor import ClusterExecutor
        from fem.study.job_list import JobList
        from fem.study.plan import Study
        from fem.study.runner import run

        job_list = JobList.of(Study.load(file))
        if dry_run:
            print_estimate(job_list, estimate(job_list), workers)
            return
        folder = make_folder(out or Path("results") / file.name.split(".")[0])
        with _explain_write_errors(folder):
            with progress(job_list) as report:
                executor = WorkerPool(workers) if scheduler is None else ClusterExecutor(scheduler)
                study_result = run(
                    job_list, folder, executor, resume=resume, retry=retry, report=report
                )
            files = study_result.save(folder)
            files += [path.name for path in save_pictures(study_result, folder)] if pictures else []
    print_study_result(study_result, job_list, folder, files)
    typer.echo(CAUTION)
    if not study_result.complete:
        raise typer.Exit(INCOMPLETE)


@contextmanager
def _explain_write_errors(folder: Path) -> Iterator[None]:
    """Report what to do if a file cannot be written, as on a full disk."""
    try:
        yield
    except OSError as error:
        hint = "finished curves are saved; fix the problem, then continue with --resume"
        fail(f"{folder}: {error}; {hint}", INCOMPLETE)
