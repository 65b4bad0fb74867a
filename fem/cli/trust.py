"""The command on trust: where the fast model does, and what corrects it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fem.cli.app import app, make_folder, plain_errors


@app.command()
def trust(
    results: Annotated[Path, typer.Argument(metavar="RESULTS", help="Result folder of a study.")],
    tolerance: Annotated[
        str,
        typer.Option(
            metavar="TEXT",
            help='Errors that are borne, such as "twist 3 deg, displacement 5 %".',
        ),
    ],
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Folder  [default: RESULTS/trust]")
    ] = None,
) -> None:
    """Say where the fast model is as good as the FE model, and correct it where it is not."""
    from fem.cli.print_trust import print_trust, working

    with plain_errors():
        from fem.plots.trust.figures import left_out, save_pictures
        from fem.study.study_result import Outcome
        from fem.trust.analysis import Trust

        outcome = Outcome.load(results)
        with working():
            found = Trust.of(outcome, tolerance)
        folder = make_folder(out or results / "trust")
        files = found.save(folder)
        files += save_pictures(outcome, found.map, found.tolerances, found.model, folder)
        said = left_out(files, found.lacking)
    print_trust(outcome.study.title, found.tolerances, found.rules, found.model, files, said)
