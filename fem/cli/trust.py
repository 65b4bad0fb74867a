"""The command `trust`: where the fast model is accurate enough, and how to correct it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fem.cli.app import StudyFolder, app, folder_option, make_folder, plain_errors


@app.command()
def trust(
    results: StudyFolder,
    tolerance: Annotated[
        str,
        typer.Option(
            metavar="TEXT",
            help='Tolerances, such as "twist 3 deg, displacement 5 %".',
        ),
    ],
    out: Annotated[Path | None, folder_option("RESULTS/trust")] = None,
) -> None:
    """Find where the fast model is accurate enough; correct it."""
    with plain_errors():
        from fem.cli.print_agreement import print_trust
        from fem.plots.trust.figures import left_out, save_pictures
        from fem.study.study_result import StudyResult
        from fem.trust.analysis import Trust
        from fem.wording.progress import Bars

        study_result = StudyResult.load(results)
        with Bars() as bars:
            bars.report("finding rules, fitting the correction", 0, None)
            found = Trust.of(study_result, tolerance)
        folder = make_folder(out or results / "trust")
        files = found.save(folder)
        files += save_pictures(study_result, found.map, found.tolerances, found.model, folder)
    print_trust(found, files, left_out(files, found.no_model_reason))
